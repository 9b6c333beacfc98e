// Keeps the Field page on the phone, so that it opens without network. Keeps nothing else.
"use strict";
const SHELF = "drydown-field-4";
const COUNT = "/field/count/";  // only for those who grade; others are refused it, and need not have it
const PARTS = ["/field/", "/static/desk/almanac.css", "/static/desk/outbox.js", "/static/desk/field.js", "/static/desk/count.js", "/static/desk/mark.svg"];
// A page that was refused, or that leads to the entry page, is never put on the shelf.
const lay = async (shelf, path, needed) => {
  const answer = await fetch(path, { cache: "reload" });
  if (answer.ok && !answer.redirected) await shelf.put(path, answer);
  else if (needed) throw new Error(path);
};
self.addEventListener("install", (event) => {
  const laid = caches.open(SHELF).then((shelf) => Promise.all([...PARTS.map((p) => lay(shelf, p, true)), lay(shelf, COUNT, false)]));
  event.waitUntil(laid.then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => {
  const old = caches.keys().then((names) => Promise.all(names.filter((n) => n !== SHELF).map((n) => caches.delete(n))));
  event.waitUntil(old.then(() => self.clients.claim()));
});
const fresh = async (request) => {
  try {
    const answer = await fetch(request);
    if (answer.ok && !answer.redirected) (await caches.open(SHELF)).put(request, answer.clone());
    return answer;
  } catch (error) {
    const kept = await caches.match(request, { ignoreSearch: true });
    if (kept) return kept;
    throw error;
  }
};
self.addEventListener("fetch", (event) => {
  const { pathname } = new URL(event.request.url);
  if (event.request.method === "GET" && (PARTS.includes(pathname) || pathname === COUNT)) event.respondWith(fresh(event.request));
});
