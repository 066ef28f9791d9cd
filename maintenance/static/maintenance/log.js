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
    const said = form.querySelector("[data-expected]"), pace = Number(form.dataset.strokes);
    const usual = said ? said.textContent.replace(/^\s*At .* about [\d,]+\.\s*/s, "").trim() : "";
    const tell = () => {
      const minutes = (new Date(ended.value) - new Date(started.value)) / 60000;
      const about = minutes > 0 ? Math.round(minutes * pace).toLocaleString("en-US") : "";
      hits.placeholder = about;
      const rounded = minutes > 0 ? Number((minutes * pace).toPrecision(3)).toLocaleString("en-US") : "";
      if (said) said.textContent = `${rounded ? say("At {pace} a minute that is about {rounded}.", { pace, rounded }) : ""} ${usual}`.trim();
    };
    started.addEventListener("input", tell);
    ended.addEventListener("input", tell);
  }

  // Days and times to tap, the days written as everywhere here.
  for (const box of form ? form.querySelectorAll("input[type=datetime-local]") : []) {
    const row = document.createElement("div"), two = (n) => String(n).padStart(2, "0");
    row.className = "moments";
    const now = new Date(), day_of = (date) => `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())}`;
    const clock = (date) => `${two(date.getHours())}:${two(date.getMinutes())}`;
    const part = (place) => (box.value || `${day_of(now)}T${clock(now)}`).slice(0, 16).split("T")[place];
    const tap = (words, is_so, value) => {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = words;
      button.setAttribute("aria-label", `${box.labels[0].textContent.trim()}: ${words}`);
      button.addEventListener("click", () => {
        box.value = value();
        box.dispatchEvent(new Event("input", { bubbles: true }));
      });
      row.append(button);
      return () => button.setAttribute("aria-pressed", is_so());
    };
    const marks = [];
    for (const back of [0, 1, 2, 3]) {
      const date = new Date(now.getFullYear(), now.getMonth(), now.getDate() - back);
      const words = back ? date.toLocaleDateString(tongue, { weekday: "short", day: "numeric", month: "short" }) : say("today");
      marks.push(tap(words.replace(",", ""), () => Boolean(box.value) && part(0) === day_of(date), () => `${day_of(date)}T${part(1)}`));
    }
    for (const time of ["06:00", "14:00", "22:00"]) {
      marks.push(tap(time, () => Boolean(box.value) && part(1) === time, () => `${part(0)}T${time}`));
    }
    marks.push(tap(say("now"), () => false, () => `${day_of(new Date())}T${clock(new Date())}`));
    const said = document.createElement("small"); // the browser writes the box in its own way, and not in the shop's
    said.className = "quiet";
    row.append(said);
    const look = () => {
      marks.forEach((mark) => mark());
      const at = box.value ? new Date(box.value) : null;
      said.textContent = at ? `${at.getDate()} ${at.toLocaleDateString(tongue, { month: "short" })} ${at.getFullYear()}, ${part(1)}` : "";
    };
    box.addEventListener("input", look);
    look();
    box.after(row);
  }

  // Figures that are often typed, to tap: beside the box that they go into.
  const offer = (place, figures, usual, unit) => {
    const box = place.querySelector("input[type=text]"), row = document.createElement("div");
    row.className = "offers";
    for (const figure of figures) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = figure;
      button.setAttribute("aria-label", `${figure} ${unit}`);
      button.classList.toggle("usual", figure === usual);
      button.addEventListener("click", () => {
        box.value = box.value === figure ? "" : figure;
        box.dispatchEvent(new Event("input", { bubbles: true }));
      });
      row.append(button);
    }
    const look = () => row.querySelectorAll("button").forEach((b) => b.setAttribute("aria-pressed", b.textContent === box.value));
    box.addEventListener("input", look);
    look();
    place.append(row);
  };

  // Places on the plan: what is picked is marked there and named; a piece of a set opens its tile.
  const taps = [...document.querySelectorAll("[data-taps] .tap")];
  if (form && taps.length) {
    const named = form.querySelector("[data-picked]");
    const tell = () => {
      for (const tap of taps) {
        const piece = tap.hash ? document.querySelector(tap.hash) : null;
        tap.classList.toggle("on", piece ? piece.classList.contains("differs") : !!tap.control && tap.control.checked);
      }
      if (named) named.textContent = taps.filter((tap) => tap.classList.contains("on")).map((tap) => tap.title).join(", ");
    };
    for (const tap of taps.filter((one) => one.hash)) {
      tap.addEventListener("click", (event) => {
        const piece = document.querySelector(tap.hash);
        if (!piece) return;
        event.preventDefault();
        for (let part = piece; part; part = part.parentElement.closest("details")) part.open = true;
        piece.scrollIntoView({ block: "center" });
        piece.querySelector("summary").focus({ preventScroll: true });
      });
    }
    form.addEventListener("input", () => setTimeout(tell, 0));
    tell();
    setTimeout(tell, 0);
  }

  // A set: one line says what will be saved, each tile what its piece differs in, and the button how many are in.
  if (form && "set" in form.dataset) {
    const { edges, unitOfSet: unit } = form.dataset;
    const rows = [...form.querySelectorAll(".piece")];
    const line = form.querySelector("[data-line]"), count = form.querySelector("[data-count]");
    const usual = form.elements.removed.placeholder;
    form.querySelectorAll("[data-offer]").forEach((place) => {
      const of = place.dataset.offer;
      if (of === "hours") offer(place, form.dataset.hours.split(" "), form.elements.hours.placeholder, say("hours"));
      else offer(place, form.dataset.amounts.split(" "), usual, unit);
    });
    const code = (row) => row.querySelector("strong").textContent;
    const done = () => form.elements.operation.value;
    const tell = () => {
      const side = form.elements.sides ? form.elements.sides.value : "both";
      const inserts = form.elements.variant ? form.elements.variant.value : "all";
      const amount = form.elements.removed.value.trim();
      const alone = side.startsWith("only-") || side.startsWith("dressed-");
      const found = new Map();
      let pieces = 0, cutting = 0;
      for (const row of rows) {
        const state = (row.querySelector("input[name^=found]:checked") || {}).value;
        const own = row.querySelector("input[name^=removed]"), length = row.querySelector("input[name^=length]").value.trim();
        const mine = row.dataset.inserts.split(" "), cuts = "cuts" in row.dataset;
        const along = ["", "both", row.dataset.side].includes(side) && (inserts === "all" || mine[0] === "" || mine.includes(inserts));
        const only = row.querySelector(".alone input:checked");
        const inside = alone ? !!only : state !== "out" && (state !== "set" || own.value.trim() !== "" || length !== "" || !cuts || along);
        row.classList.toggle("left-out", !inside);
        own.placeholder = inside ? amount || usual : "";
        const says = [
          state === "set" ? "" : state === "out" ? (alone && inside ? "" : say("not ground")) : say(state),
          own.value.trim() && `${own.value.trim()} ${unit}`,
          length && say("now {length}", { length: `${length} ${unit}` }),
          only ? (only.value.startsWith("dressed-") ? say("only this, stoned") : say("only this")) : "",
        ].filter(Boolean).join(" · ");
        row.querySelector("[data-said]").textContent = says;
        row.classList.toggle("differs", says !== "" && (cuts || inside));
        pieces += inside ? 1 : 0;
        cutting += inside && cuts ? 1 : 0;
        if (inside && !["set", "out"].includes(state)) found.set(state, [...(found.get(state) || []), code(row)]);
      }
      const named = [...found].map(([state, codes]) => `${say(state)} ${codes.length > 3 ? codes.length : codes.join(", ")}`);
      const work = alone && side.startsWith("dressed-") ? say("stoned in the press") : form.elements.operation.selectedOptions[0].textContent;
      const which = cutting === Number(edges) ? say("All {edges} edges", { edges }) : say(pieces === 1 ? "{n} piece" : "{n} pieces", { n: pieces });
      line.textContent = side === "" || !pieces ? say("{edges} edges. Open only what differs.", { edges })
        : `${which}: ${work}${amount ? ` ${amount} ${unit}` : ""}${named.length ? `, ${say("found {named}", { named: named.join("; ") })}` : ""}`;
      count.textContent = pieces && side !== "" ? `: ${say(pieces === 1 ? "{n} piece" : "{n} pieces", { n: pieces })}` : "";
    };
    form.addEventListener("input", tell);
    tell();
  }

  // A replacement: a broken piece was found broken, unless somebody says otherwise; a first fitting has no piece before.
  if (form && "replaced" in form.dataset) {
    const empty = form.dataset.empty.split(" ");
    let own = false;
    const tell = (event) => {
      const from = event && event.target.name;
      if (from === "found") own = true;
      if (from === "why" && !own && ["dull", "chipped", "broken"].includes(form.elements.why.value)) {
        form.elements.found.value = form.elements.why.value;
      }
      const first = empty.includes(form.elements.position.value);
      form.querySelectorAll("[data-came-out]").forEach((asked) => { asked.hidden = first; });
    };
    form.addEventListener("input", tell);
    tell();
  }

  // A reading: the unit of what is measured beside the value, and what else is asked of it.
  const unit = document.querySelector("[data-unit]");
  if (form && unit && form.elements.quantity) {
    const tell = () => {
      const picked = form.querySelector("input[name=quantity]:checked");
      const note = picked && picked.nextElementSibling.querySelector("small");
      unit.textContent = note ? note.textContent : "";
      form.querySelectorAll("[data-of]").forEach((asked) => { asked.hidden = !picked || asked.dataset.of !== picked.value; });
    };
    form.addEventListener("input", tell);
    tell();
  }
})();
