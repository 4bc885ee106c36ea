// Keeps the figures fresh: asks once a second, puts the server's words in their places, and says
// how old they are as soon as they are. Without this script the page reloads itself.
"use strict";

(() => {
  const EVERY_MS = 1000;
  const PATIENCE_MS = 4000;
  const OLD_S = 5;
  const JUST_NOW_S = 3;

  const body = document.body;
  const word = document.querySelector(".word");
  const heard = document.querySelector(".heard");
  const aloud = document.querySelector(".aloud");
  const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
  const address = `${body.dataset.status}?zone=${encodeURIComponent(zone || "")}`;

  let tag = null;
  let timer = null;
  let alarms = null;
  // Both clocks: one stands still while a computer sleeps, the other can be set back.
  let lastWord = body.hasAttribute("data-unheard") ? null : moment();

  function moment() {
    return { running: performance.now(), wall: Date.now() };
  }

  function age() {
    if (!lastWord) return Infinity;
    const now = moment();
    return Math.max(now.running - lastWord.running, now.wall - lastWord.wall, 0) / 1000;
  }

  function inWords(seconds) {
    if (seconds < 100) return `${Math.floor(seconds)} s`;
    if (seconds < 5400) return `${Math.floor(seconds / 60)} min`;
    return `${Math.floor(seconds / 3600)} h`;
  }

  function put(key, text) {
    for (const place of document.querySelectorAll(`[data-text="${key}"]`)) {
      if (place.textContent !== text) place.textContent = text;
    }
  }

  function say(level, what, figures, need) {
    word.dataset.level = level;
    put("what", what);
    put("figures", figures);
    put("need", need);
    // Read aloud when it means something else, not at every tenth of a µm.
    const spoken = `${what.replace(/[0-9]+ (s|min|h)\b/, "some time")} ${need}`;
    if (aloud.dataset.spoken !== spoken) {
      aloud.textContent = aloud.dataset.spoken ? `${what} ${need}` : "";
      aloud.dataset.spoken = spoken;
    }
  }

  function offer(acts) {
    for (const form of document.querySelectorAll("[data-act]")) {
      form.hidden = !acts.includes(form.dataset.act);
    }
  }

  function show(texts) {
    for (const place of document.querySelectorAll("[data-shown]")) {
      place.hidden = !texts[place.dataset.shown];
    }
  }

  function grow(share, doubt) {
    const front = document.querySelector(".front");
    if (!front) return;
    const percent = (part) => `${(part * 100).toFixed(3)}%`;
    front.setAttribute("x", percent(share));
    document.querySelector(".copper").setAttribute("width", percent(Math.max(0, share - doubt)));
    const edge = document.querySelector(".edge");
    edge.setAttribute("x", percent(share - doubt));
    edge.setAttribute("width", percent(2 * doubt));
    document.querySelector(".thickness").classList.toggle("early", share < 0.45);
  }

  function draw(view) {
    const run = String(view.run_id ?? "");
    if (!lastWord || view.start !== body.dataset.start || run !== body.dataset.run) {
      // The first word, another server or another run: their page has other forms and places.
      location.reload();
      return;
    }
    for (const [key, text] of Object.entries(view.texts)) put(key, text);
    say(view.level, view.texts.what, view.texts.figures, view.texts.need);
    document.title = `${view.texts.title} · tankhand`;
    offer(view.acts);
    show(view.texts);
    grow(view.copper, view.doubt);
    alarms = view.alarms;
    view.stages.forEach((state, i) => {
      const stage = document.querySelectorAll(".stages li")[i];
      stage.dataset.state = state;
      stage.toggleAttribute("aria-current", state === "under way");
    });
  }

  function tellAge() {
    const seconds = age();
    if (lastWord) {
      heard.textContent = seconds < JUST_NOW_S
        ? heard.dataset.now
        : heard.dataset.ago.replace("{}", inWords(seconds));
    }
    const old = seconds > OLD_S;
    body.toggleAttribute("data-old", old);
    return old;
  }

  function tellSilence(said) {
    if (!tellAge() && !said) return;
    const words = said ? said.texts : {
      what: lastWord ? body.dataset.silent.replace("{}", inWords(age())) : body.dataset.unheard,
      figures: body.dataset.silentFigures,
      need: body.dataset.silentNeed,
    };
    say("alarm", words.what, words.figures, words.need);
  }

  async function ask() {
    const headers = tag ? { "If-None-Match": tag } : {};
    const answer = await fetch(address, {
      headers,
      cache: "no-store",
      signal: AbortSignal.timeout(PATIENCE_MS),
    });
    // The session is over, and only operators may look: the server leads to where one signs in.
    if (answer.status === 403) return location.reload();
    if (answer.status === 503) {
      tag = null;
      return tellSilence(await answer.json());
    }
    if (answer.status !== 304) {
      if (!answer.ok) throw new Error(answer.status);
      const view = await answer.json();
      draw(view);
      // Only now: an answer that could not be drawn must be asked for again.
      tag = answer.headers.get("ETag");
    }
    lastWord = moment();
    tellAge();
  }

  // A piece of the page as the server writes it now; null where it does not.
  async function piece(from) {
    const answer = await fetch(from, {
      cache: "no-store",
      signal: AbortSignal.timeout(PATIENCE_MS),
    });
    if (!answer.ok) return null;
    return new DOMParser().parseFromString(await answer.text(), "text/html");
  }

  // What is behind the figures changes slowly and is long: asked for only while somebody looks.
  async function askDetails() {
    if (!document.querySelector("details[open]")) return;
    const fresh = await piece(body.dataset.details);
    if (!fresh) return;
    for (const part of fresh.querySelectorAll("[data-part]")) {
      const place = document.querySelector(`details [data-part="${part.dataset.part}"]`);
      if (place && place.innerHTML !== part.innerHTML) place.replaceChildren(...part.childNodes);
    }
  }

  // Forms and all: they come as they were written by the server.
  async function askAlarms() {
    const place = document.querySelector(".alarms");
    if (alarms === null || place.dataset.key === alarms) return;
    const key = alarms;
    const fresh = await piece(body.dataset.alarms);
    if (!fresh) return;
    place.replaceChildren(...fresh.body.childNodes);
    place.dataset.key = key;
  }

  async function poll() {
    clearTimeout(timer);
    try {
      await ask();
      await askAlarms();
      await askDetails();
    } catch {
      // Whatever was said meanwhile has to be drawn anew.
      tag = null;
      tellSilence(null);
    }
    clearTimeout(timer);
    timer = setTimeout(poll, EVERY_MS);
  }

  setInterval(tellAge, EVERY_MS);
  document.addEventListener("visibilitychange", () => document.hidden || poll());
  document.addEventListener("toggle", (event) => event.target.open && poll(), true);
  window.addEventListener("pageshow", (event) => event.persisted && poll());
  poll();
})();
