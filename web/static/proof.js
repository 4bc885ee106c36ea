// Keeps a walk fresh: asks for the same page once a second and puts what is new in its place. Without
// this script the page reloads itself.
"use strict";

(() => {
  const EVERY_MS = 1000;
  const PATIENCE_MS = 4000;
  const OLD_S = 5;

  let lastWord = performance.now();

  function tellSilence() {
    const seconds = Math.floor((performance.now() - lastWord) / 1000);
    if (seconds <= OLD_S) return;
    const main = document.querySelector("main");
    main.querySelector(".word").dataset.level = "alarm";
    main.querySelector("h1 b").textContent = main.dataset.silent.replace("{}", seconds);
    main.querySelector("h1 .need").textContent = main.dataset.silentNeed;
    main.dataset.key = "";
  }

  // Forms come as they were written by the server. While nothing but figures has changed, they stay
  // where they are, so that a press meets the button that was aimed at.
  function draw(fresh) {
    const main = document.querySelector("main");
    const now = fresh.querySelector("main");
    if (!now) return;
    if (now.dataset.key !== main.dataset.key) {
      main.replaceWith(now);
      document.title = fresh.title;
      return;
    }
    for (const place of now.querySelectorAll("[data-text]")) {
      main.querySelector(`[data-text="${place.dataset.text}"]`).textContent = place.textContent;
    }
  }

  async function poll() {
    const { source } = document.querySelector("main").dataset;
    if (!source) return;
    try {
      const answer = await fetch(source, { cache: "no-store", signal: AbortSignal.timeout(PATIENCE_MS) });
      draw(new DOMParser().parseFromString(await answer.text(), "text/html"));
      lastWord = performance.now();
    } catch {
      tellSilence();
    }
    setTimeout(poll, EVERY_MS);
  }

  setTimeout(poll, EVERY_MS);
})();
