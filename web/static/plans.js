// Has a plan checked and drawn by the server while it is typed, and puts what came of it in its place: what
// is wrong at its field, the verdict, the drawing. No field is ever written to. Without this script a
// button does the same.
"use strict";

(() => {
  const REST_MS = 500;
  const PATIENCE_MS = 8000;
  const form = document.getElementById("plan");
  if (!form || !form.dataset.check) return;
  let timer = 0;
  let asked = null;

  function put(id, fresh) {
    const old = document.getElementById(id);
    const now = fresh.getElementById(id);
    if (old && now && old.innerHTML !== now.innerHTML) old.replaceChildren(...now.childNodes);
  }

  // A field that somebody is in is told nothing new before they leave it; what was mended goes at once.
  function tell(fresh) {
    for (const input of form.querySelectorAll(".field input, .field select")) {
      const now = fresh.getElementById(input.id);
      const field = input.closest(".field");
      const said = now && now.closest(".field").querySelector(".wrong");
      const before = field.querySelector(".wrong");
      if (said && !before && input === document.activeElement) continue;
      if (before) before.remove();
      field.toggleAttribute("data-wrong", Boolean(said));
      input.toggleAttribute("aria-invalid", Boolean(said));
      if (said) {
        input.setAttribute("aria-invalid", "true");
        input.setAttribute("aria-describedby", said.id);
        field.append(said.cloneNode(true));
      } else input.removeAttribute("aria-describedby");
    }
  }

  function draw(fresh) {
    tell(fresh);
    put("verdict", fresh);
    put("wrong-now", fresh);
    const place = document.getElementById("drawn");
    const drawn = fresh.querySelector("#drawn .course");
    // What was drawn last stays, as old, while somebody is in the middle of a figure.
    place.toggleAttribute("data-old", !drawn);
    if (drawn || !place.querySelector(".course")) put("drawn", fresh);
    if (!fresh.querySelector("#trouble .cannot")) document.getElementById("trouble").replaceChildren();
    const said = document.getElementById("said");
    const verdict = document.getElementById("verdict").textContent.replace(/\s+/g, " ").trim();
    if (said.textContent !== verdict) said.textContent = verdict;
  }

  async function check() {
    if (asked) asked.abort();
    const mine = (asked = new AbortController());
    const sent = new URLSearchParams(new FormData(form));
    sent.set("do", "check");
    const late = setTimeout(() => mine.abort(), PATIENCE_MS);
    try {
      const answer = await fetch(form.dataset.check, { method: "POST", body: sent, signal: mine.signal });
      const text = await answer.text();
      if (mine !== asked) return;
      const fresh = new DOMParser().parseFromString(text, "text/html");
      if (fresh.getElementById("plan")) draw(fresh);
    } catch {
      // The button still does it; and the next letter asks again.
    } finally {
      clearTimeout(late);
    }
  }

  function soon(rest) {
    clearTimeout(timer);
    timer = setTimeout(check, rest);
  }

  form.addEventListener("input", () => soon(REST_MS));
  form.addEventListener("focusout", (event) => {
    if (event.target.matches(".field input, .field select")) soon(REST_MS);
  });
})();
