// Keeps the page itself on the phone, one version whole, so that it opens with the laptop gone. The server puts the
// version and its files in front (SHELL). Nothing of the API is ever kept here, and no version changes under a drive.
"use strict";

const MINE = "coach-";
const CACHE = MINE + SHELL.version;
const at = (file) => new URL(file, self.location).href;
const FILES = new Set(Object.keys(SHELL.files).map(at));
/** How many files come at a time: a drive may be running, and a browser has six connections to one server. */
const LANES = 3;

self.addEventListener("install", (event) => event.waitUntil(precache()));

async function precache() {
  const cache = await caches.open(CACHE);
  const waiting = Object.entries(SHELL.files);
  const lane = async () => {
    for (let next = waiting.pop(); next; next = waiting.pop()) await keep(cache, ...next);
  };
  try {
    await Promise.all(Array.from({ length: LANES }, lane));
  } catch (error) {
    await caches.delete(CACHE);
    throw error;
  }
}

async function keep(cache, file, tag) {
  const response = await fetch(at(file), { cache: "no-cache" });
  // What came instead of the file (a help page, another version) must not be taken for it: whole or not at all.
  if (!response.ok || response.redirected || !response.headers.get("etag")?.includes(tag)) throw new Error(`${file} is not what it was`);
  await cache.put(at(file), response);
}

self.addEventListener("activate", (event) => event.waitUntil(takeOver()));

async function takeOver() {
  for (const name of await caches.keys()) if (name.startsWith(MINE) && name !== CACHE) await caches.delete(name);
  await self.clients.claim();
}

self.addEventListener("fetch", (event) => {
  const url = event.request.url.split(/[?#]/)[0];
  if (event.request.method === "GET" && FILES.has(url)) event.respondWith(answer(url, event.request));
});

async function answer(url, request) {
  const kept = await (await caches.open(CACHE)).match(url);
  return kept ?? fetch(request);
}

self.addEventListener("message", (event) => {
  if (event.data === "activate") event.waitUntil(activate());
});

/** Takes over from the version that runs, but only where the server says that no drive does. */
async function activate() {
  const state = await fetch(at("api/state"), { cache: "no-store" }).then((response) => (response.ok ? response.json() : null), () => null);
  if (state && ["none", "ended"].includes(state.drive?.phase)) await self.skipWaiting();
}
