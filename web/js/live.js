// What comes from the server, live: in order, nothing twice, and after a break from where it left off. A page that is
// hidden does not listen (a phone ends hidden streams without a word); seen again, it goes on after its last event.
// After some seconds of silence the page no longer claims to know.

import { get } from "./api.js";
import { Shared } from "./shared.js";
import { known, learn, learnPhone } from "./store.js";
import { t } from "./words.js";

/** Silence, in seconds, after which the phone has lost the laptop. The server speaks every two. */
export const SILENT_S = 4;
/** Silence after which a stream is taken for dead: a phone that left the network is not told so. */
const DEAD_S = 6;
/** Silence of the page that leads, after which another takes over. */
const LEADERLESS_S = 12;
const RETRY_MS = [500, 1000, 2000, 3000];
const BACK_SHOWN_MS = 3000;
/** How long a page that is seen again may ask before it says that it has lost the laptop. */
const ASKING_MS = 1000;
const FIRST_MS = 3000;
const NAMES = ["state", "judge", "saved", "not_saved", "drive", "gap", "resumed", "ping"];

/** @type {EventSource | null} */
let stream = null;
let leads = false;
let last = "";
/** Messages still to come that were missed. */
let filling = 0;
let tries = 0;
let heardAt = Date.now();
let leaderAt = Date.now();
let openedAt = 0;
let seenAt = 0;
let away = false;
/** @type {ReturnType<typeof setTimeout> | undefined} */
let retry;
/** @type {((name: string, data: any, late: boolean) => void)[]} */
const others = [];

const shared = new Shared({
  lead: (now) => {
    leads = now;
    close();
    if (leads) open();
  },
  hear: (heard) => {
    leaderAt = Date.now();
    if (heard.name !== "trying") take(heard);
  },
});

/**
 * Hears the events `judge`, `saved`, `not_saved`, `drive` and `gap`. `late` is true for what happened while nobody
 * listened here: it is to be shown, and no longer to be sounded or said. After `gap` a page asks anew for what it drew.
 * @param {(name: string, data: any, late: boolean) => void} listener
 */
export function onEvent(listener) {
  others.push(listener);
  return () => others.splice(others.indexOf(listener), 1);
}

/** Id of the newest event that was taken, `boot-number`; empty before the first. */
export const lastId = () => last;

/** Whether this page is the one of its browser that hears the server itself: what is done once is done here. */
export const isLeader = () => leads;

/** Begins to listen, and goes on with the page being seen and hidden. */
export function start() {
  const seen = () => {
    if (document.hidden) return;
    seenAt = Date.now();
    // Whoever comes back knows where it left off, and the others miss nothing by hearing from there.
    shared.join(away && last !== "" && !leads);
    away = false;
    watch();
  };
  const hidden = () => {
    away = true;
    shared.leave();
  };
  document.addEventListener("visibilitychange", () => (document.hidden ? hidden() : seen()));
  addEventListener("pagehide", hidden);
  addEventListener("pageshow", seen);
  addEventListener("online", () => leads && again());
  seen();
  setInterval(watch, 500);
}

function open() {
  openedAt = Date.now();
  shared.tell({ name: "trying", id: "", data: "", late: false });
  const mine = (stream = new EventSource(last ? `api/live?last=${encodeURIComponent(last)}` : "api/live"));
  for (const name of NAMES) {
    mine.addEventListener(name, (event) => {
      if (mine !== stream) return;
      tries = 0;
      const { data, lastEventId } = /** @type {MessageEvent} */ (event);
      const id = name === "ping" || name === "resumed" ? "" : lastEventId;
      const heard = { name, id, data, late: filling > 0 && id !== "" };
      shared.tell(heard);
      take(heard);
    });
  }
  // The browser's own way to try again knows neither when to hurry nor when it was refused.
  mine.addEventListener("error", () => {
    if (mine !== stream) return;
    close();
    // A stream does not say why it was refused; any other request does, and leads to where this device can join again.
    if (tries === 1) void get("me").catch(() => undefined);
    retry = setTimeout(open, RETRY_MS[Math.min(tries++, RETRY_MS.length - 1)]);
  });
}

function close() {
  clearTimeout(retry);
  stream?.close();
  stream = null;
  filling = 0;
}

function again() {
  close();
  open();
}

/** Takes one event, from the server or from the page that leads. @param {import("./shared.js").Heard} heard */
function take({ name, id, data, late }) {
  if (name === "resumed") {
    if (leads) filling = JSON.parse(data).messages;
    // What was drawn from state to state has a hole now.
    if (JSON.parse(data).messages) tell("gap", null, false);
  } else if (id) {
    if (leads && filling) filling -= 1;
    if (name !== "gap" && isOld(id, name)) return;
    last = id;
  }
  word();
  if (name === "state") learn({ live: JSON.parse(data) });
  else if (name !== "ping" && name !== "resumed") tell(name, JSON.parse(data), late);
}

/** Whether an event was taken already; a state may come again, as a whole. @param {string} id @param {string} name */
function isOld(id, name) {
  const [boot, number] = split(id);
  const [mine, newest] = split(last);
  return boot === mine && (name === "state" ? number < newest : number <= newest);
}

/** @param {string} id @returns {[string, number]} */
function split(id) {
  const cut = id.lastIndexOf("-");
  return [id.slice(0, cut), Number(id.slice(cut + 1))];
}

/**
 * @param {string} name
 * @param {any} data
 * @param {boolean} late
 */
function tell(name, data, late) {
  for (const listener of [...others]) {
    try {
      listener(name, data, late);
    } catch (error) {
      // One that fails must not keep the others from hearing.
      reportError(error);
    }
  }
}

/** The server has spoken. */
function word() {
  const gone = (Date.now() - heardAt) / 1000;
  heardAt = Date.now();
  if (known.phone.lost || known.phone.old) learnPhone({ lost: false, old: false, told: false, age_s: 0 });
  if (gone < SILENT_S || !isDriving()) return;
  learnPhone({ back: t("drive.back", { s: Math.round(gone) }) });
  setTimeout(() => learnPhone({ back: "" }), BACK_SHOWN_MS);
}

export function isDriving() {
  return Boolean(known.live?.drive && !["none", "ended"].includes(known.live.drive.phase));
}

/** Counts the silence; opens anew what is dead. */
function watch() {
  if (document.hidden) return;
  const now = Date.now();
  const age = (now - heardAt) / 1000;
  if (leads && stream && now - Math.max(heardAt, openedAt) > DEAD_S * 1000) again();
  if (!leads && now - Math.max(leaderAt, seenAt) > LEADERLESS_S * 1000) {
    leaderAt = now;
    shared.join(true);
  }
  if (age < SILENT_S) return;
  if (now - seenAt < ASKING_MS) learnPhone({ old: true });
  else if (!known.phone.lost || known.phone.age_s !== Math.floor(age)) learnPhone({ lost: true, age_s: Math.floor(age) });
}

/**
 * The phone cannot reach the laptop, as a request has just found out.
 * @param {number} [at] when the server was last heard, ms since the epoch
 * @param {boolean} [told] whether Stop was pressed in vain
 */
export function lost(at = heardAt, told = known.phone.told) {
  heardAt = Math.min(heardAt, at);
  learnPhone({ lost: true, told, age_s: Math.max(0, Math.floor((Date.now() - heardAt) / 1000)) });
}

/** Asks once for the state, for a page that has only just been opened. */
export async function firstState() {
  const state = await get("state", {}, AbortSignal.timeout(FIRST_MS));
  if (state?.drive) learn({ live: state });
  return state;
}
