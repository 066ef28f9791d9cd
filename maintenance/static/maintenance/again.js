// A forecast is being worked out: the page is fetched again until it is in, and takes the place of what stands here.
// Notes on what was saved stay. Without this file the page is right at the next look.
"use strict";

(() => {
  const EVERY_MS = 1500;
  let looks = 40;

  const look = async () => {
    let page;
    try {
      const answer = await fetch(location.href, { credentials: "same-origin" });
      page = new DOMParser().parseFromString(await answer.text(), "text/html");
    } catch {
      page = null; // the network is away: it is tried again
    }
    const fresh = page && page.getElementById("main");
    if (!fresh || page.querySelector("[data-again]")) {
      looks -= 1;
      if (looks > 0) setTimeout(look, EVERY_MS);
      return;
    }
    const main = document.getElementById("main");
    main.replaceChildren(...main.querySelectorAll(":scope > .notes"), ...fresh.children);
  };

  if (document.querySelector("[data-again]")) setTimeout(look, EVERY_MS);
})();
