// The recipe that is being written, kept in this browser until it is sent: a page that is closed loses nothing.

const NAME = "desk.draft";

/**
 * @typedef {object} Draft
 * @property {string} text the recipe as TOML, good or not
 * @property {string} source whose car it is checked for; empty: none
 * @property {string | null} vehicle text of a vehicle file
 * @property {string} customer for whom it is written
 * @property {string | null} from SHA-256 of the revision before
 */

/** @type {Draft | null} what storage would hold where it is shut */
let held = null;

/** @returns {Draft | null} */
export function load() {
  try {
    const found = JSON.parse(localStorage.getItem(NAME) ?? "null");
    return found && typeof found.text === "string" ? { source: "", vehicle: null, customer: "", from: null, ...found } : held;
  } catch {
    return held;
  }
}

/** @param {Draft} draft */
export function save(draft) {
  held = draft;
  try {
    localStorage.setItem(NAME, JSON.stringify(draft));
  } catch {
    // storage may be shut or full: it is held until the page is closed
  }
}

/** What the server is told of the car. @param {Draft} draft */
export function inCar({ source, vehicle }) {
  return { ...(source && source !== "file" ? { source } : {}), ...(vehicle && source === "file" ? { vehicle } : {}) };
}
