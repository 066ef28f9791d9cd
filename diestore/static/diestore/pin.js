// Large keys for a PIN or a figure, beside the box that works without them.
"use strict";

for (const pad of document.querySelectorAll("[data-pad]")) {
  const box = document.getElementById(pad.dataset.pad);
  const key = (face, name, press) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "button second";
    button.textContent = face;
    if (name) button.setAttribute("aria-label", name);
    button.addEventListener("click", press);
    pad.append(button);
  };
  const is_figure = "figure" in pad.dataset; // a figure may be typed too, and has no length
  const put = (value) => { box.value = value; box.dispatchEvent(new Event("input", { bubbles: true })); };
  const type = (digit) => { if (is_figure || box.value.length < box.maxLength) put(box.value + digit); };
  for (const digit of ["1", "2", "3", "4", "5", "6", "7", "8", "9"]) key(digit, "", () => type(digit));
  key("\u232b", say("take the last digit away"), () => put(box.value.slice(0, -1)));
  key("0", "", () => type("0"));
  if (is_figure && pad.dataset.figure) key(pad.dataset.figure, "", () => type(pad.dataset.figure));
  else key("\u2715", say("begin again"), () => put(""));
  pad.hidden = false;
  // The pad is there: no keyboard over half the page.
  if (!matchMedia("(pointer: coarse)").matches) continue;
  if (is_figure) box.inputMode = "none";
  else box.readOnly = true;
}
