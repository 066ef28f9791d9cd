// What the scripts say, in the page's language: the page holds their sentences where it is not English.
"use strict";

(() => {
  const texts = JSON.parse(document.body.dataset.texts || "{}");

  // The sentence, with what varies put in: say("{n} pieces", { n: 4 }).
  window.say = (text, values = {}) => (texts[text] || text).replace(/\{(\w+)\}/g, (gap, name) => (name in values ? values[name] : gap));

  // Days are written as the shop writes them.
  window.tongue = document.documentElement.lang === "en" ? "en-GB" : document.documentElement.lang;
})();
