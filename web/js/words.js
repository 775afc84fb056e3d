// Every text of the page comes from the one catalogue, served as files so that they are kept with the page; no text
// stands in the code.

import { Refused, getFile } from "./api.js";

const USUAL = "en";
/** The language that this phone wants: chosen here, else its own. */
let language = wanted();

/** @type {Record<string, any>} */
const page = {};
/** @type {Map<string, Promise<void>>} */
const asked = new Map();
/** Making one takes longer than a thousand numbers written with it. @type {Map<string, Intl.NumberFormat>} */
const writers = new Map();

/**
 * Fetches one part of the page's texts, once: `car` for Drive, `parked` for all other screens, others by their section.
 * @param {string} part `car`, `parked`, or a section of the catalogue that is listed in coach/server/shell.py
 */
export function needWords(part) {
  const section = part === "car" || part === "parked" ? `page.${part}` : part;
  const coming = asked.get(part) ?? load(section).then((texts) => void Object.assign(page, texts));
  asked.set(part, coming);
  coming.catch(() => asked.delete(part));
  return coming;
}

/** @param {string} section @returns {Promise<any>} */
async function load(section) {
  document.documentElement.lang = language;
  try {
    return await getFile(`words/${language}/${section}.json`);
  } catch (error) {
    if (language === USUAL || !(error instanceof Refused) || error.code === "unreachable") throw error;
    // There are no words in this language: English for all of the page.
    language = USUAL;
    return load(section);
  }
}

function wanted() {
  let chosen = null;
  try {
    chosen = localStorage.getItem("language");
  } catch {
    // storage may be shut: the phone's own language stands
  }
  const asked = (chosen || navigator.language || USUAL).slice(0, 2).toLowerCase();
  return /^[a-z]{2}$/.test(asked) ? asked : USUAL;
}

/**
 * The text under a dotted key, its `{name}` filled in. A missing key is shown as itself, so that a test can see it.
 * @param {string} key
 * @param {Record<string, string | number>} [values]
 * @returns {string}
 */
export function t(key, values = {}) {
  let found = /** @type {any} */ (page);
  for (const part of key.split(".")) found = found?.[part];
  if (typeof found !== "string") return key;
  return found.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? said(values[name]) : whole));
}

/** A value in a sentence; whole numbers stay as they are. @param {string | number} value */
const said = (value) => (typeof value === "number" && !Number.isInteger(value) ? decimal(value) : String(value));

/**
 * A number as the language of the page writes it, without groups of thousands: no other function of the page does that.
 * @param {number} value
 * @param {number} [places] as many as it has, if left out
 */
export function decimal(value, places) {
  const key = `${language} ${places}`;
  const writer = writers.get(key) ?? new Intl.NumberFormat(language, {
    useGrouping: false, signDisplay: "negative", minimumFractionDigits: places ?? 0, maximumFractionDigits: places ?? 15,
  });
  writers.set(key, writer);
  return writer.format(value);
}

/**
 * Whether the catalogue has the key.
 * @param {string} key
 */
export function has(key) {
  return t(key) !== key;
}

/**
 * A small whole number as a word, from the catalogue; larger ones as figures.
 * @param {number} n
 */
export function count(n) {
  return has(`numbers.${n}`) ? t(`numbers.${n}`) : String(n);
}

/**
 * Text with its first letter in upper case.
 * @param {string} text
 */
export function upper(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/**
 * Seconds as m:ss, or h:mm:ss.
 * @param {number} seconds
 */
export function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds + 1e-6));
  const two = (/** @type {number} */ n) => String(n).padStart(2, "0");
  const hours = Math.floor(whole / 3600);
  const minutes = Math.floor((whole % 3600) / 60);
  return hours ? `${hours}:${two(minutes)}:${two(whole % 60)}` : `${minutes}:${two(whole % 60)}`;
}

/**
 * A measured value with as many places as say something.
 * @param {number} value
 */
export function figure(value) {
  const size = Math.abs(value);
  return decimal(value, Number.isInteger(value) || size >= 1000 ? 0 : size >= 10 ? 1 : 2);
}
