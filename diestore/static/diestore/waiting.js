// Forms of the log that are saved while the network is away: kept on this tablet, told of on every page, and sent once
// when it is back. The key in each form makes a repeat harmless. Without this file a form is sent as any other.
"use strict";

(() => {
  const STORE = "entries that wait", EVERY_MS = 30_000, PATIENCE_MS = 6_000, SENDING_MS = 60_000;
  const NEVER_KEPT = ["csrfmiddlewaretoken", "pin"];
  const user = document.body.dataset.user || "";
  const form = document.querySelector("form[data-waits]");

  const all = () => { try { return JSON.parse(localStorage.getItem(STORE) || "[]"); } catch { return []; } };
  const keep = (entries) => localStorage.setItem(STORE, JSON.stringify(entries));
  const put = (entry) => keep([...all().filter((one) => one.key !== entry.key), entry]);
  const drop = (key) => keep(all().filter((one) => one.key !== key));
  const change = (key, more) => keep(all().map((one) => (one.key === key ? { ...one, ...more } : one)));
  const here = () => location.pathname + location.search;
  const freshKey = () => [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, "0")).join("");
  const reach = async (url, options = {}, patience = SENDING_MS) => {
    const stop = new AbortController(), timer = setTimeout(() => stop.abort(), patience);
    try {
      return await fetch(url, { credentials: "same-origin", cache: "no-store", signal: stop.signal, ...options });
    } finally {
      clearTimeout(timer);
    }
  };
  const parsed = async (answer) => new DOMParser().parseFromString(await answer.text(), "text/html");
  const words = (page) => [...page.querySelectorAll(".not-saved li, .doubt p")].map((one) => one.textContent.trim()).join(" ");

  // --- what waits, at the head of the page ---

  const said = document.createElement("section");
  said.className = "panel waiting";
  said.setAttribute("role", "status");
  said.hidden = true;
  document.getElementById("main").before(said);

  const element = (name, text, more = {}) => Object.assign(document.createElement(name), { textContent: text, ...more });
  const when = (ms) => new Date(ms).toLocaleString(tongue, { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
  const tell = () => {
    const entries = all().filter((one) => one.state !== "sent");
    said.hidden = entries.length === 0;
    const refused = entries.filter((one) => one.refused).length, waiting = entries.length - refused;
    const lines = [];
    if (waiting) lines.push(say(waiting === 1 ? "{n} entry waits for the network." : "{n} entries wait for the network.", { n: waiting }));
    if (refused) lines.push(say(refused === 1 ? "{n} entry is not taken yet: open and put right."
      : "{n} entries are not taken yet: open and put right.", { n: refused }));
    const list = element("ul", "");
    for (const entry of entries) {
      const row = element("li", "");
      const why = entry.refused || entry.why || "";
      row.append(element("strong", entry.title), ` ${say("typed {when}", { when: when(entry.typed) })}${why ? `: ${say(why, entry)}` : ""} `);
      if (entry.refused) row.append(element("a", say("Open it"), { href: `${entry.url}#waits=${entry.key}`, className: "button second" }));
      const away = element("button", say("Throw it away"), { type: "button", className: "link" });
      away.addEventListener("click", () => {
        if (!confirm(say("Throw away “{title}”? It was never saved.", entry))) return;
        drop(entry.key);
        tell();
      });
      row.append(away);
      list.append(row);
    }
    said.replaceChildren(element("p", lines.join(" "), { className: "lead" }), list);
  };

  // --- sending what waits ---

  let busy = false;
  const sendOne = async (entry) => {
    if (entry.user !== user) return change(entry.key, { why: "its writer has to sign in again on this tablet" });
    const page = await reach(entry.url);
    const shown = await parsed(page);
    const token = shown.querySelector("form[data-waits] [name=csrfmiddlewaretoken]");
    if (!token) {
      const out = shown.querySelector("input[type=password]");
      return change(entry.key, { why: out ? "sign in again" : "its form cannot be reached ({status})", status: page.status });
    }
    const body = new URLSearchParams(entry.fields);
    body.set("csrfmiddlewaretoken", token.value);
    const answer = await reach(entry.url, { method: "POST", body, redirect: "manual" });
    if (answer.type === "opaqueredirect") return drop(entry.key);
    if (answer.status !== 422 && answer.status !== 409) return change(entry.key, { why: "the service answers {status}", status: answer.status });
    const back = await parsed(answer);
    change(entry.key, { refused: words(back) || say("something is to be put right"), why: "" });
  };
  const sendAll = async () => {
    if (busy || !navigator.onLine || !user) return;
    busy = true;
    try {
      for (const entry of all()) if (!entry.refused && entry.state !== "sent") await sendOne(entry);
    } catch { /* still away: tried again */ } finally {
      busy = false;
      tell();
    }
  };

  // --- the form on this page ---

  const fieldsOf = (data) => [...data].filter(([name, value]) => typeof value === "string" && !NEVER_KEPT.includes(name));
  const entryOf = (data) => ({
    key: data.get("key"), url: here(), title: form.dataset.waits, user, typed: Date.now(), fields: fieldsOf(data),
  });
  const buttons = (off) => form.querySelectorAll("button").forEach((button) => { button.disabled = off; });
  const note = (text) => {
    const old = form.querySelector(".kept");
    if (old) old.remove();
    const line = element("p", text, { className: "panel first kept", tabIndex: -1 });
    line.setAttribute("role", "alert");
    form.prepend(line);
    line.focus();
  };
  const keepIt = (data) => {
    try {
      put(entryOf(data));
    } catch {
      note(say("The network is away, and this tablet cannot keep the entry. Leave the page open and save again later."));
      return buttons(false);
    }
    const files = [...data].some(([, value]) => typeof value !== "string" && value.size);
    form.reset();
    form.elements.key.value = freshKey();
    form.dispatchEvent(new Event("input", { bubbles: true }));
    buttons(false);
    note(say("The network is away. The entry is kept on this tablet and sent when it is back.")
      + (files ? ` ${say("Its pictures are not kept: add them then.")}` : ""));
    tell();
  };
  const fill = (entry) => {
    const values = new Map();
    for (const [name, value] of entry.fields) values.set(name, [...(values.get(name) || []), value]);
    for (const control of form.elements) {
      if (!control.name || NEVER_KEPT.includes(control.name) || ["file", "submit", "button"].includes(control.type)) continue;
      const mine = values.get(control.name) || [];
      if (control.type === "radio" || control.type === "checkbox") control.checked = mine.includes(control.value);
      else if (mine.length) control.value = mine.shift();
    }
    form.dispatchEvent(new Event("input", { bubbles: true }));
    note(say("Not taken yet: {refused} Put it right and save.", entry));
  };

  if (form && user) {
    document.addEventListener("submit", (event) => {
      if (event.target !== form) return;
      event.preventDefault();
      event.stopImmediatePropagation();
      if (form.dataset.sending) return;
      const button = event.submitter, data = new FormData(form, button);
      if (!navigator.onLine) return keepIt(data);
      form.dataset.sending = "yes";
      buttons(true);
      reach(form.dataset.near, { method: "HEAD" }, PATIENCE_MS).then(
        () => {
          if (button && button.name) form.append(element("input", "", { type: "hidden", name: button.name, value: button.value }));
          put({ ...entryOf(data), state: "sent" }); // should the answer never come
          form.submit();
        },
        () => { delete form.dataset.sending; keepIt(data); },
      );
    }, true);
    window.addEventListener("pageshow", () => { delete form.dataset.sending; });
    const open = () => {
      const asked = location.hash.match(/^#waits=(\w+)$/);
      const entry = asked && all().find((one) => one.key === asked[1]);
      if (entry) fill(entry);
    };
    window.addEventListener("hashchange", open); // it may be of the form that is open already
    open();
  }

  // What was being sent when the page before this one went. This page is its answer where it was led here from its form,
  // or where the form is shown again with what is wrong. Else the answer never came, and it is sent once more.
  const from = document.referrer && new URL(document.referrer);
  const before = from && from.origin === location.origin ? from.pathname + from.search : "";
  const [way] = performance.getEntriesByType("navigation");
  const answers = (url) => (url === before && way && way.redirectCount > 0)
    || (url === here() && document.querySelector(".not-saved") !== null);
  if (user) keep(all().flatMap((one) => (one.state !== "sent" ? [one] : answers(one.url) ? [] : [{ ...one, state: "" }])));

  window.addEventListener("online", sendAll);
  window.addEventListener("storage", tell);
  setInterval(sendAll, EVERY_MS);
  tell();
  sendAll();
})();
