// What does not fit a sentence: the other keys of a capture, and the recipe as a whole with its rates. A line each.

import { h } from "../dom.js";
import { t } from "../words.js";
import { ownRates, rates } from "./rates.js";
import { pick, slot } from "./slots.js";

/** @typedef {import("./slots.js").Path} Path */
/** @typedef {import("./slots.js").Change} Change */

/** @param {string} name @param {Node} field */
const line = (name, field) => h("div", { class: "field" }, h("span", {}, name), field);

/**
 * Every other key of a capture.
 * @param {Record<string, any>} data
 * @param {number} place
 * @param {import("./sentence.js").Signal[]} signals
 * @param {Change} change
 */
export function captureFields(data, place, signals, change) {
  const capture = data.capture[place];
  const at = (/** @type {(string | number)[]} */ ...rest) => /** @type {Path} */ (["capture", place, ...rest]);
  const name = (/** @type {string} */ key) => t(`write.field.${key}`);
  const one = (/** @type {string} */ key, /** @type {object} */ more = {}) =>
    line(name(key), slot({ path: at("+", key), value: capture[key], name: name(key), optional: true, hint: t("write.usual"), ...more,
      edits: /** @type {any} */ (more).edits ?? ((text) => [{ do: "set", path: at(key), value: /** @type {any} */ (more).list ? several(text) : /** @type {any} */ (more).bare && /^-?\d+$/.test(text) ? Number(text) : text }]) }, removing(at(key), change)));
  const swept = Object.keys(capture.sweep ?? {})[0];
  const ofSweep = (/** @type {string} */ key) => line(name(key), slot({ path: at("+", key), value: capture.sweep[swept][key], name: name(key), optional: true, hint: t("write.usual"),
    edits: (text) => [{ do: "set", path: at("sweep", swept, key), value: text }] }, removing(at("sweep", swept, key), change)));
  const after = pick({ name: name("after_limit"), key: `${place} after_limit`, value: capture.after_limit ?? "again", choices: [["again", t("write.after_limit.again")], ["wait", t("write.after_limit.wait")]],
    edits: (chosen) => [chosen === "again" ? { do: "remove", path: at("after_limit") } : { do: "set", path: at("after_limit"), value: chosen }] }, change);
  const stale = capture.stale_after === undefined || typeof capture.stale_after === "string" ? one("stale_after") : null;
  return h("div", { class: "fields" },
    one("title", { hint: capture.id }), line(name("id"), slot({ path: at("id"), value: capture.id, name: name("id") }, change)),
    one("times", { bare: true, hint: "1" }), one("rest"), one("needs", { list: true, hint: t("write.recipe.several") }),
    ...(swept ? [ofSweep("within"), ofSweep("dip"), ofSweep("late"), one("then")] : []), ...(capture.collect !== undefined ? [one("piece")] : []),
    one("grace"), one("max_excursions", { bare: true }), stale, Object.keys(capture.limit ?? {}).length ? one("warn_ahead") : null,
    Object.keys(capture.limit ?? {}).length ? line(name("after_limit"), after) : null, one("before"), one("after"), ...ownRates(data, place, signals, change));
}

/** @param {string} text */
const several = (text) => text.split(",").map((each) => each.trim()).filter(Boolean);

/** Emptied, the real key goes. @param {Path} path @param {Change} change @returns {Change} */
function removing(path, change) {
  return (edits, typing) => change(edits.map((edit) => (edit.do === "remove" ? { do: "remove", path } : edit)), typing);
}

/**
 * The recipe as a whole.
 * @param {Record<string, any>} data
 * @param {import("./sentence.js").Signal[]} signals
 * @param {Change} change
 */
export function recipeFields(data, signals, change) {
  const name = (/** @type {string} */ key) => t(`write.recipe.${key}`);
  const one = (/** @type {string} */ key, /** @type {object} */ more = {}) => line(name(key), slot({ path: [key], value: data[key], name: name(key), optional: true, hint: "…", ...more }, change));
  const note = h("textarea", { class: "note", rows: 3, "aria-label": name("note"), "data-key": "note" }, data.note ?? "");
  note.addEventListener("change", () => change(note.value.trim() ? [{ do: "set", path: ["note"], value: note.value.trim() }] : data.note === undefined ? [] : [{ do: "remove", path: ["note"] }], false));
  return h("div", { class: "fields whole" },
    one("title", { optional: false }), one("revision", { bare: true, optional: false }), one("vehicle"), one("calibration", { list: true, hint: t("write.recipe.several") }), one("settle", { hint: "50 km" }),
    h("div", { class: "field tall" }, h("span", {}, name("note")), note),
    h("h2", {}, name("rates")), ...rates(["record"], data.record ?? {}, signals, change));
}
