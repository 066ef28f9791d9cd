// Small helps on the card of a die. Every step works without this file.
"use strict";

(() => {
  // A second tap with a glove sends nothing twice. The server would see it as well.
  document.querySelectorAll("form[method=post]").forEach((form) => {
    form.addEventListener("submit", (event) => {
      if (form.dataset.sent) event.preventDefault();
      form.dataset.sent = "yes";
      setTimeout(() => form.querySelectorAll("button").forEach((b) => { b.disabled = true; }), 0);
    });
  });
  window.addEventListener("pageshow", () => {
    document.querySelectorAll("button").forEach((b) => { b.disabled = false; });
    document.querySelectorAll("form").forEach((form) => { delete form.dataset.sent; });
  });

  // An address that leads to a part of the page takes the cursor from the field once the page is there.
  const first = document.querySelector("[data-focus]") || document.querySelector("[autofocus]");
  if (first) window.addEventListener("load", () => first.focus({ preventScroll: !first.matches("[data-focus]") }));

  // While a place is typed: what there is to doubt, asked of the server when the fingers rest.
  const form = document.querySelector("form[data-place]");
  const said = form && form.querySelector("[data-doubts]");
  if (!said) return;
  let resting = 0, asked = 0;
  form.addEventListener("submit", () => clearTimeout(resting));
  form.addEventListener("input", () => {
    clearTimeout(resting);
    resting = setTimeout(async () => {
      const mine = ++asked, typed = new FormData(form);
      typed.set("do", "doubts");
      try {
        const answer = await fetch(location.pathname, { method: "POST", body: typed });
        if (!answer.ok || mine !== asked) return;
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        said.replaceChildren(...page.body.childNodes);
      } catch { /* no connection just now: saving will say so */ }
    }, 400);
  });
})();
