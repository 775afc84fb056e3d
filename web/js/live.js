// The one live stream: opened while the page is seen, closed when hidden (a phone kills hidden streams silently), and
// honest about silence: after a few seconds without a word the page no longer claims to know.

import { get } from "./api.js";
import { known, learn, learnPhone } from "./store.js";
import { t } from "./words.js";

/** Silence during a drive, in seconds, after which the phone has lost the laptop. The server speaks every second. */
export const SILENT_S = 3;
const BACK_SHOWN_MS = 3000;

/** @type {EventSource | null} */
let stream = null;
let heard = performance.now();
let lastId = "";
/** @type {((name: string, data: any) => void)[]} */
const others = [];

/**
 * Hears the events `judge`, `saved` and `drive`.
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
  stream = new EventSource(lastId ? `api/live?last=${encodeURIComponent(lastId)}` : "api/live");
  stream.addEventListener("state", (event) => {
    word(event);
    learn({ live: JSON.parse(event.data) });
  });
  for (const name of ["judge", "saved", "drive"]) {
    stream.addEventListener(name, (event) => {
      word(event);
      const data = JSON.parse(/** @type {MessageEvent} */ (event).data);
      for (const listener of [...others]) listener(name, data);
    });
  }
  stream.addEventListener("ping", word);
}

function close() {
  stream?.close();
  stream = null;
}

/** @param {Event} event */
function word(event) {
  const gone = (performance.now() - heard) / 1000;
  heard = performance.now();
  lastId = /** @type {MessageEvent} */ (event).lastEventId || lastId;
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
