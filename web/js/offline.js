// What makes the page a thing of its own on the phone: the service worker and its updates, drives kept as they happen,
// and the last that was known, for a page that is loaded anew while the laptop is away. Loaded once a screen stands.

import { get } from "./api.js";
import { keepDrive } from "./kept.js";
import { persist } from "./keeping.js";
import { isDriving, isLeader, lastId, lost, onEvent } from "./live.js";
import { follow, known, learn } from "./store.js";
import { needWords } from "./words.js";

const LAST = "last";
const NOTE_MS = 5000;
/** Older than this, the last that was known says nothing of a drive any more. */
const OLD_MS = 12 * 3600 * 1000;
/** Several attempts may end together; the server is asked once. */
const SETTLE_MS = 2000;
const NEWEST = 3;
const OFFERED_MS = [0, 1500, 5000];
const OVER = new Set(["ended", "secured"]);

/**
 * @param {(() => Promise<unknown>)[]} screens how each screen is loaded
 * @param {(href: string) => Promise<void>} style
 */
export function start(screens, style) {
  if ("serviceWorker" in navigator) worker().catch(() => undefined);
  else warm(screens, style);
  keepAsItHappens();
  noteTheLast();
}

/**
 * Loads all that a screen may ask for, where no worker keeps it for the time without a server.
 * @param {(() => Promise<unknown>)[]} screens
 * @param {(href: string) => Promise<void>} style
 */
function warm(screens, style) {
  const sheets = ["css/pages.css", "css/review.css", "css/kept.css"].map(style);
  const words = ["parked", "offline", "reviewpage"].map(needWords);
  const parts = [import("./parts/reach.js"), import("./parts/kept_here.js"), import("./parts/plots.js"), import("./parts/proof.js"), import("./screens/failed.js")];
  void Promise.allSettled([...screens.map((load) => load()), ...sheets, ...words, ...parts]);
}

// --- the worker

async function worker() {
  const { serviceWorker } = navigator;
  let controlled = Boolean(serviceWorker.controller);
  serviceWorker.addEventListener("controllerchange", () => {
    // The first worker serves what this page came from; any later one serves another version, and whole.
    if (controlled) location.reload();
    controlled = true;
  });
  const registration = await serviceWorker.register("sw.js", { updateViaCache: "none" });
  const once = () => {
    // The worker asks the server once more: another tab, or another phone, may have started a drive.
    if (!isDriving() && !known.phone.lost) registration?.waiting?.postMessage("activate");
  };
  // More than once: a browser puts it off while the old worker is busy, and does not always come back to it.
  const offer = () => OFFERED_MS.forEach((ms) => setTimeout(once, ms));
  offer();
  addEventListener("hashchange", offer);
  let boot = "";
  onEvent(() => {
    const now = lastId().split("-")[0];
    // A server that was started anew may have brought a new page.
    if (boot && now !== boot) registration?.update().catch(() => undefined);
    boot = now;
  });
}

// --- drives

let running = false;
/** @type {string[]} */
const waiting = [];

function keepAsItHappens() {
  onEvent((name, data) => {
    const id = known.live?.drive.id;
    if (!isLeader()) return;
    if (name === "drive" && data.phase === "ended") ask(data.id);
    else if (id && (name === "saved" || (name === "judge" && OVER.has(data.type)))) ask(id);
    else if (name === "gap") newest();
  });
  newest();
}

/** Drives that ended while this phone did not listen. */
async function newest() {
  if (isDriving()) return;
  const list = await get("drives").then(({ drives }) => drives, () => []);
  for (const { id, phase } of list.slice(0, NEWEST)) if (phase === undefined || phase === "ended") ask(id);
}

/** @param {string} id */
function ask(id) {
  if (waiting.includes(id)) return;
  waiting.push(id);
  setTimeout(work, SETTLE_MS);
}

async function work() {
  if (running) return;
  running = true;
  for (let id = waiting.shift(); id; id = waiting.shift()) {
    // Cut off in the middle, the rest is asked for when the drive is heard of again.
    if (await keepDrive(id).catch(() => false)) await persist();
  }
  running = false;
}

// --- the last that was known

function noteTheLast() {
  let noted = 0;
  const note = () => {
    noted = Date.now();
    try {
      if (isDriving()) localStorage.setItem(LAST, JSON.stringify({ at: noted, live: known.live }));
      else localStorage.removeItem(LAST);
    } catch {
      // Storage is shut or full: a page loaded anew then knows nothing, and says that.
    }
  };
  follow(({ phone }) => !phone.lost && known.live && Date.now() - noted > NOTE_MS && note());
}

/** For a page that finds no server: the drive that it last knew, said to be as old as it is. */
export function remember() {
  try {
    const { at, live } = JSON.parse(localStorage.getItem(LAST) ?? "null") ?? {};
    if (live?.drive && Date.now() - at < OLD_MS) {
      learn({ live });
      lost(at);
      return;
    }
  } catch {
    // What cannot be read says nothing.
  }
  lost();
}
