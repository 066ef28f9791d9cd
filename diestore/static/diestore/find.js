// Finding while one types, arrow keys through what was found, and single keys that open pages. Without this file the field
// leads to the page of what was found, and links lead everywhere.
"use strict";

(() => {
  const PAUSE_MS = 150, AFTER_G_MS = 1_500;
  const field = document.querySelector("input[data-lines]");
  const hits = document.querySelector("ul.hits");

  // --- the list under the field ---

  let list = null, at = -1, asking = null, timer = 0;
  const options = () => (list ? [...list.children] : []);
  const close = () => {
    if (asking) asking.abort();
    clearTimeout(timer);
    if (list) list.hidden = true;
    if (field) {
      field.setAttribute("aria-expanded", "false");
      field.removeAttribute("aria-activedescendant");
    }
    at = -1;
  };
  const mark = (to) => {
    const all = options();
    if (!all.length) return;
    at = (to + all.length) % all.length;
    all.forEach((one, n) => one.setAttribute("aria-selected", String(n === at)));
    field.setAttribute("aria-activedescendant", all[at].id);
    all[at].scrollIntoView({ block: "nearest" });
  };
  const show = (text) => {
    list.replaceChildren(...new DOMParser().parseFromString(text, "text/html").body.childNodes);
    options().forEach((one, n) => {
      one.id = `found-${n}`;
      one.setAttribute("role", "option");
      one.querySelector("a").tabIndex = -1;
    });
    at = -1;
    list.hidden = !options().length;
    field.setAttribute("aria-expanded", String(!list.hidden));
    field.removeAttribute("aria-activedescendant");
  };
  const ask = async () => {
    const typed = field.value.trim();
    if (!typed) return close();
    asking = new AbortController();
    try {
      const answer = await fetch(`${field.dataset.lines}?q=${encodeURIComponent(typed)}`, { credentials: "same-origin", signal: asking.signal });
      if (answer.ok && !answer.redirected) show(await answer.text());
    } catch { /* another letter came, or the network is away: Enter asks for the page */ }
  };

  if (field) {
    list = Object.assign(document.createElement("ul"), { id: "found", className: "found", hidden: true });
    list.setAttribute("role", "listbox");
    list.setAttribute("aria-label", say("Found"));
    field.after(list);
    for (const [name, value] of [["role", "combobox"], ["aria-expanded", "false"], ["aria-controls", "found"], ["aria-autocomplete", "list"]]) field.setAttribute(name, value);
    field.addEventListener("input", () => {
      if (asking) asking.abort();
      clearTimeout(timer);
      timer = setTimeout(ask, PAUSE_MS);
    });
    field.addEventListener("keydown", (event) => {
      if (event.key === "Escape" && !list.hidden) {
        close();
        event.preventDefault(); // the first one closes the list and leaves what was typed
      } else if (event.key === "ArrowDown" || event.key === "ArrowUp") {
        if (list.hidden) return;
        event.preventDefault();
        mark(event.key === "ArrowDown" ? at + 1 : at < 0 ? -1 : at - 1);
      } else if (event.key === "Enter" && at >= 0 && !list.hidden) {
        event.preventDefault();
        options()[at].querySelector("a").click();
      }
    });
    field.form.addEventListener("focusout", (event) => { if (!field.form.contains(event.relatedTarget)) close(); });
    list.addEventListener("mousedown", (event) => event.preventDefault()); // the field keeps the focus until the click
    window.addEventListener("pageshow", close);
  }

  // --- arrow keys on the page of what was found ---

  const large = document.querySelector(".find-large input");
  if (hits) {
    document.addEventListener("keydown", (event) => {
      if (!["ArrowDown", "ArrowUp"].includes(event.key) || event.altKey || event.ctrlKey || event.metaKey) return;
      const links = [...hits.querySelectorAll("a")], here = links.indexOf(document.activeElement);
      if (here < 0 && document.activeElement !== large) return;
      event.preventDefault();
      const to = here + (event.key === "ArrowDown" ? 1 : -1);
      if (to < 0) large.focus();
      else (links[to] || links[links.length - 1]).focus();
    });
  }

  // --- single keys, where they are on ---

  const keys = document.body.dataset.keys;
  if (!keys) return;
  const typing = (one) => one instanceof Element && one.closest("input:not([type=checkbox], [type=radio], [type=submit], [type=button]), textarea, select, [contenteditable], dialog");
  const sheet = async () => {
    const answer = await fetch(keys, { credentials: "same-origin" });
    const told = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("keys");
    if (!told) return;
    const dialog = document.createElement("dialog");
    dialog.className = "keys";
    dialog.setAttribute("aria-label", say("Keys"));
    const away = Object.assign(document.createElement("button"), { type: "button", className: "button second", textContent: say("Close") });
    away.addEventListener("click", () => dialog.close());
    dialog.append(...told.children, away);
    dialog.addEventListener("close", () => dialog.remove());
    document.body.append(dialog);
    dialog.showModal();
    away.focus();
  };
  let after = -Infinity; // g was pressed then
  document.addEventListener("keydown", (event) => {
    if (event.defaultPrevented || event.altKey || event.ctrlKey || event.metaKey || event.isComposing || event.repeat) return;
    if (typing(event.target)) return;
    const second = event.timeStamp - after < AFTER_G_MS;
    after = -Infinity;
    if (second) {
      const link = [...document.querySelectorAll("a[data-key]")].find((one) => one.dataset.key === event.key);
      if (link) {
        event.preventDefault();
        link.click();
      }
    } else if (event.key === "g") {
      after = event.timeStamp;
    } else if (event.key === "/") {
      const to = field && field.offsetParent ? field : large;
      event.preventDefault();
      if (to) {
        to.focus();
        to.select();
      } else {
        location.assign(document.querySelector("a.find-page").href);
      }
    } else if (event.key === "?") {
      event.preventDefault();
      sheet().catch(() => location.assign(keys));
    }
  });
})();
