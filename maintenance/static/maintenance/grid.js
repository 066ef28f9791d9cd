// Helps for a grid of fields: keys from cell to cell, what is changed, a paste over several. The form works without it.
"use strict";

(() => {
  const form = document.querySelector("form[data-grid]");
  if (!form) return;
  const rows = [...form.querySelectorAll("tbody tr")];
  const cells = [...form.querySelectorAll("tbody input")];
  const before = JSON.parse(form.elements.before.value || "{}");
  const count = form.querySelector("[data-count]"), save = form.querySelector("[data-save]");
  const changed = () => cells.filter((cell) => cell.value.trim() !== before[cell.name]);
  form.querySelectorAll("[data-scripted]").forEach((said) => { said.hidden = false; });

  const look = () => {
    const many = changed();
    cells.forEach((cell) => cell.parentElement.classList.toggle("changed", many.includes(cell)));
    count.textContent = many.length ? say(many.length === 1 ? "{n} cell changed, not saved yet" : "{n} cells changed, not saved yet", { n: many.length }) : "";
    save.classList.toggle("waits", many.length > 0);
  };
  look();

  const into = (cell) => { if (cell) { cell.focus(); cell.select(); } return !!cell; };
  const column = (cell) => [...cell.parentElement.parentElement.children].indexOf(cell.parentElement);
  const at = (row, number) => row && row.children[number] && row.children[number].querySelector("input");
  const down = (cell, step) => {
    const number = column(cell);
    for (let i = rows.indexOf(cell.parentElement.parentElement) + step; rows[i]; i += step) {
      const next = at(rows[i], number);
      if (next) return next;
    }
    return null;
  };
  let was = "", fresh = null;
  form.addEventListener("focusin", (event) => {
    if (cells.includes(event.target)) { was = event.target.value; fresh = event.target; }
  });
  form.addEventListener("click", (event) => {  // the first tap takes the whole cell, the next sets the cursor
    if (fresh === event.target) event.target.select();
    fresh = null;
  });

  form.addEventListener("keydown", (event) => {
    const cell = event.target;
    if (event.key === "Enter" && (event.ctrlKey || event.metaKey)) { event.preventDefault(); form.requestSubmit(); return; }
    if (!cells.includes(cell) || event.altKey || event.ctrlKey || event.metaKey || event.isComposing) return;
    const listOpen = cell.list && cell.value !== was;  // the arrows choose from it
    const all = cell.selectionStart === 0 && cell.selectionEnd === cell.value.length;
    const i = cells.indexOf(cell);
    let moved = false;
    if (event.key === "Enter") {
      if (!into(down(cell, event.shiftKey ? -1 : 1)) && !event.shiftKey) save.querySelector("input, button").focus();
      moved = true;
    } else if (event.key === "ArrowDown" && !listOpen) moved = into(down(cell, 1));
    else if (event.key === "ArrowUp" && !listOpen) moved = into(down(cell, -1));
    else if (event.key === "ArrowLeft" && (all || cell.selectionEnd === 0)) moved = into(cells[i - 1]);
    else if (event.key === "ArrowRight" && (all || cell.selectionStart === cell.value.length)) moved = into(cells[i + 1]);
    else if (event.key === "Escape") { cell.value = before[cell.name]; look(); cell.select(); moved = true; }
    if (moved) event.preventDefault();
  });

  // Cells copied in a spreadsheet fill those to the right and below.
  form.addEventListener("paste", (event) => {
    const text = event.clipboardData.getData("text/plain").replace(/\r?\n$/, "");
    if (!cells.includes(event.target) || !/[\t\n]/.test(text)) return;
    event.preventDefault();
    let cell = event.target;
    for (const line of text.split(/\r?\n/)) {
      if (!cell) break;
      let number = column(cell);
      const row = cell.parentElement.parentElement;
      for (const word of line.split("\t")) {
        const next = at(row, number);
        if (next) next.value = word.trim();
        number += row.children[number + 1] && row.children[number + 1].classList.contains("what") ? 2 : 1;
      }
      cell = down(cell, 1);
    }
    look();
    ask();
  });

  let sent = false;
  form.addEventListener("submit", () => { sent = true; });
  window.addEventListener("pageshow", () => { sent = false; });
  window.addEventListener("beforeunload", (event) => { if (!sent && changed().length) event.preventDefault(); });

  // What there is to doubt about the cells as they are typed, asked of the server when the fingers rest.
  const said = form.querySelector("[data-cell-doubts]");
  let resting = 0, asked = 0;
  const ask = () => {
    clearTimeout(resting);
    resting = setTimeout(async () => {
      const mine = ++asked, typed = new FormData(form);
      typed.set("do", "grid doubts");
      try {
        const answer = await fetch(location.pathname, { method: "POST", body: typed });
        if (!answer.ok || mine !== asked) return;
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        said.replaceChildren(...page.body.childNodes);
      } catch { /* no connection just now: saving will say so */ }
    }, 400);
  };
  form.addEventListener("input", (event) => { if (cells.includes(event.target)) { look(); ask(); } });
})();
