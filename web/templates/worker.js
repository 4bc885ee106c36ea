// Says that there is no connection, where there is none. Pages, figures and presses are never kept:
// a page comes from the network, and what is no page does not come through here at all.
"use strict";

const KEPT = "offline-{{ kept }}";
const PAGE = "{{ url_for('offline') }}";
const STYLE = "{{ style }}";

self.addEventListener("install", (event) => {
  const keep = async () => {
    const cache = await caches.open(KEPT);
    await cache.addAll([new Request(PAGE, { cache: "reload", credentials: "omit" }), STYLE]);
    await self.skipWaiting();
  };
  event.waitUntil(keep());
});

self.addEventListener("activate", (event) => {
  const forget = async () => {
    for (const name of await caches.keys()) if (name !== KEPT) await caches.delete(name);
    await self.clients.claim();
  };
  event.waitUntil(forget());
});

async function kept(what) {
  const cache = await caches.open(KEPT);
  return (await cache.match(what)) ?? Response.error();
}

self.addEventListener("fetch", (event) => {
  const asked = event.request;
  if (asked.method !== "GET") return;
  if (asked.mode === "navigate") event.respondWith(fetch(asked).catch(() => kept(PAGE)));
  else if (new URL(asked.url).pathname === STYLE) {
    event.respondWith(fetch(asked).catch(() => kept(STYLE)));
  }
});
