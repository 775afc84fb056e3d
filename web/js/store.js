// What the page knows now, and who wants to hear of it. Listeners run once a frame, however much came in between.

/**
 * @typedef {object} Known
 * @property {import("./types.js").LiveState | null} live
 * @property {import("./types.js").Phone} phone
 * @property {import("./types.js").Ear | null} ear null: nobody has asked for sound yet
 * @property {boolean} watching whether this device may only watch
 * @property {boolean} laptop whether this is the page on the laptop itself
 * @property {boolean} joins whether this is the laptop's own page and phones can join
 */

/** @type {Known} */
export const known = { live: null, phone: { lost: false, old: false, age_s: 0, back: "", told: false }, ear: null, watching: false, joins: false, laptop: false };

/** @type {Set<(known: Known) => void>} */
const listeners = new Set();
let waiting = false;

/**
 * Calls back at each change, and once now. Returns how to stop it.
 * @param {(known: Known) => void} listener
 */
export function follow(listener) {
  listeners.add(listener);
  listener(known);
  return () => listeners.delete(listener);
}

/** @param {Partial<Known>} change */
export function learn(change) {
  Object.assign(known, change);
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(() => {
    waiting = false;
    for (const listener of [...listeners]) listener(known);
  });
}

/** @param {Partial<import("./types.js").Phone>} change */
export function learnPhone(change) {
  learn({ phone: { ...known.phone, ...change } });
}
