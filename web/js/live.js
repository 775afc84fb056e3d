// The one live stream: opened while the page is seen, closed when hidden (a phone kills hidden streams silently), and
// honest about silence: after a few seconds without a word the page no longer claims to know.

import { get } from "./api.js";
import { known, learn, learnPhone } from "./store.js";
import { t } from "./words.js";

/** Silence during a drive, in seconds, after which the phone has lost the laptop. The server speaks every two. */
export const SILENT_S = 4;
const BACK_SHOWN_MS = 3000;

/** @type {EventSource | null} */
let stream = null;
let heard = performance.now();
/** @type {((name: string, data: any) => void)[]} */
const others = [];

/**
 * Hears the events `judge`, `saved`, `drive` and `gap`; `gap` also when the stream was opened again.
 * @param {(name: string, data: any) => void} listener
 */
export function onEvent(listener) {
  others.push(listener);
  return () => others.splice(others.indexOf(listener), 1);
}

/** Opens the stream, and goes on opening and closing it with the page. */
export function start() {
  open();
  setInterval(watch, 500);
  document.addEventListener("visibilitychange", () => (document.hidden ? close() : open()));
  addEventListener("pagehide", close);
  addEventListener("pageshow", () => open());
}

function open() {
  if (stream && stream.readyState !== EventSource.CLOSED) return;
  // Opened afresh, the stream begins with the whole state; what the lane missed is asked for apart.
  stream = new EventSource("api/live");
  stream.addEventListener("open", () => tell("gap", null));
  stream.addEventListener("state", (event) => {
    word();
    learn({ live: JSON.parse(event.data) });
  });
  for (const name of ["judge", "saved", "drive", "gap"]) {
    stream.addEventListener(name, (event) => {
      word();
      tell(name, JSON.parse(/** @type {MessageEvent} */ (event).data));
    });
  }
  stream.addEventListener("ping", word);
}

function close() {
  stream?.close();
  stream = null;
}

/**
 * @param {string} name
 * @param {any} data
 */
function tell(name, data) {
  for (const listener of [...others]) listener(name, data);
}

/** The server has spoken. */
function word() {
  const gone = (performance.now() - heard) / 1000;
  heard = performance.now();
  if (!known.phone.lost) return;
  learnPhone({ lost: false, told: false, age_s: 0, back: t("drive.back", { s: Math.round(gone) }) });
  setTimeout(() => learnPhone({ back: "" }), BACK_SHOWN_MS);
}

/** Counts the silence; opens the stream again where the browser has given it up. */
function watch() {
  if (document.hidden) return;
  if (!stream || stream.readyState === EventSource.CLOSED) open();
  const driving = known.live && !["none", "ended"].includes(known.live.drive.phase);
  const age = (performance.now() - heard) / 1000;
  if (!driving || age < SILENT_S) return;
  const whole = Math.floor(age);
  if (!known.phone.lost || known.phone.age_s !== whole) learnPhone({ lost: true, age_s: whole });
}

/** Asks once for the state, for a page that has only just been opened. */
export async function firstState() {
  const state = await get("state");
  if (state?.drive) learn({ live: state });
  return state;
}
