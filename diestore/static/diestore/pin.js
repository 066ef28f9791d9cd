// Large keys for a PIN, beside the box that works without them.
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
  const type = (digit) => { if (box.value.length < box.maxLength) box.value += digit; };
  for (const digit of ["1", "2", "3", "4", "5", "6", "7", "8", "9"]) key(digit, "", () => type(digit));
  key("\u232b", "take the last digit away", () => { box.value = box.value.slice(0, -1); });
  key("0", "", () => type("0"));
  key("\u2715", "begin again", () => { box.value = ""; });
  pad.hidden = false;
  box.readOnly = matchMedia("(pointer: coarse)").matches; // the pad is there: no keyboard over half the page
}
