// A long spreadsheet takes a while to be read: beside the button that was pressed stands that it is, and since when, and a
// second press sends nothing. Without this file the browser's own sign of waiting is all there is.
"use strict";

(() => {
  const waiting = new Map();

  const begin = (form, button) => {
    const said = document.createElement("p");
    said.className = "quiet";
    said.setAttribute("role", "status");
    said.textContent = form.dataset.reading;
    (button ? button.closest("p, form") : form).append(said);
    const since = Date.now();
    const tick = setInterval(() => {
      const seconds = Math.round((Date.now() - since) / 1000);
      said.textContent = `${form.dataset.reading} ${say("{seconds} s so far.", { seconds })}`;
    }, 1000);
    waiting.set(form, () => {
      clearInterval(tick);
      said.remove();
    });
  };

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.dataset.reading) return;
    if (waiting.has(form)) event.preventDefault();
    else begin(form, event.submitter);
  });

  // Come back to by the browser's own way, the page as it was left waits for nothing.
  window.addEventListener("pageshow", () => {
    waiting.forEach((end) => end());
    waiting.clear();
  });
})();
