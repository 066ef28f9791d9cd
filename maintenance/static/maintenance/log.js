// Small helps on the bench forms. Every form works without this file.
"use strict";

(() => {
  const form = document.querySelector("form.log");

  // A second tap with a glove sends nothing twice. The server would refuse it as well.
  if (form) {
    form.addEventListener("submit", () => {
      setTimeout(() => form.querySelectorAll("button").forEach((b) => { b.disabled = true; }), 0);
    });
    window.addEventListener("pageshow", () => {
      form.querySelectorAll("button").forEach((b) => { b.disabled = false; });
    });
  }

  // What is wrong, or doubted, comes into view first.
  const first = document.querySelector("[data-focus]") || document.querySelector(".doubt");
  if (first) first.focus();

  // A run: what the clock makes of the times that are typed.
  if (form && form.dataset.strokes) {
    const [started, ended, hits] = ["started", "ended", "hits"].map((name) => form.elements[name]);
    const said = form.querySelector("[data-expected]");
    const usual = said ? said.textContent.replace(/^\s*About[^.]*\.\s*/, "").trim() : "";
    const tell = () => {
      const minutes = (new Date(ended.value) - new Date(started.value)) / 60000;
      const about = minutes > 0 ? Math.round(minutes * Number(form.dataset.strokes)).toLocaleString("en-US") : "";
      hits.placeholder = about;
      if (said) said.textContent = `${about ? `About ${about} by the clock.` : ""} ${usual}`.trim();
    };
    started.addEventListener("input", tell);
    ended.addEventListener("input", tell);
  }

  // A set: the one number shows in every row, pieces left out fade, and the button says how many are in.
  if (form && "set" in form.dataset) {
    const rows = [...form.querySelectorAll(".row[data-side]")];
    const count = form.querySelector("[data-count]");
    const tell = () => {
      const side = form.elements.sides ? form.elements.sides.value : "both";
      const inserts = form.elements.variant ? form.elements.variant.value : "all";
      const amount = form.elements.removed.value || form.elements.removed.placeholder;
      let pieces = 0;
      for (const row of rows) {
        const found = (row.querySelector("input[name^=found]:checked") || {}).value;
        const own = row.querySelector("input[type=text]");
        const mine = row.dataset.inserts.split(" ");
        const along = ["", "both", row.dataset.side].includes(side) && (inserts === "all" || mine[0] === "" || mine.includes(inserts));
        const alone = row.querySelector("input[name=sides]");
        const inside = side.startsWith("only-") ? alone.checked : found !== "out" && (found !== "set" || own.value.trim() !== "" || !("cuts" in row.dataset) || along);
        row.classList.toggle("left-out", !inside);
        own.placeholder = inside ? amount : "";
        pieces += inside ? 1 : 0;
      }
      count.textContent = pieces && side !== "" ? `: ${pieces} ${pieces === 1 ? "piece" : "pieces"}` : "";
    };
    form.addEventListener("input", tell);
    tell();
  }

  // A reading: the unit of what is measured beside the value.
  const unit = document.querySelector("[data-unit]");
  if (form && unit && form.elements.quantity) {
    const tell = () => {
      const picked = form.querySelector("input[name=quantity]:checked");
      const note = picked && picked.nextElementSibling.querySelector("small");
      unit.textContent = note ? note.textContent : "";
    };
    form.addEventListener("input", tell);
    tell();
  }
})();
