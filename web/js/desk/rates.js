// What is recorded, and how often: a line a signal; its longest gap, its least share and whether it is needed behind ⋯.

import { h } from "../dom.js";
import { t } from "../words.js";
import { pick, slot } from "./slots.js";

/** @typedef {import("./slots.js").Path} Path */
/** @typedef {import("./slots.js").Change} Change */
/** @typedef {import("./slots.js").Edit} Edit */
/** @typedef {string | {rate: string, gap?: string, least?: string, need?: boolean}} Asked */

const RATE = "2 Hz";
/** A gap is asked for in periods where nobody says otherwise; see docs/reference/recipe.md. */
const PERIODS = 5;
const LEAST = "80 %";
const EXTRAS = /** @type {const} */ (["gap", "least", "need"]);

/** @param {Asked} asked */
const rateOf = (asked) => (typeof asked === "object" ? asked.rate : asked);

/** The usual longest gap of a rate, to begin with. @param {string} rate */
function usualGap(rate) {
  const hz = /^([\d.]+)\s*Hz$/.exec(String(rate).trim());
  return hz && Number(hz[1]) > 0 ? `${Math.ceil((PERIODS * 100) / Number(hz[1])) / 100} s` : "1 s";
}

/**
 * Every signal of a list of rates, and the slot for one more.
 * @param {Path} path of the list: the recipe's, or a capture's own
 * @param {Record<string, Asked>} record
 * @param {import("./sentence.js").Signal[]} signals
 * @param {Change} change
 */
export function rates(path, record, signals, change) {
  const titles = new Map(signals.map((signal) => [signal.name, signal.title]));
  const only = Object.keys(record).length === 1;
  const lines = Object.entries(record).map(([name, asked]) => line(path, name, titles.get(name) ?? name, asked, only, change));
  const free = signals.filter(({ name, derived }) => !derived && !(name in record)).map(({ name, title }) => /** @type {[string, string]} */ ([name, title])).sort((a, b) => a[1].localeCompare(b[1]));
  const add = t("write.recipe.add_rate");
  return [...lines, pick({ name: add, key: JSON.stringify([...path, "+"]), classes: "add", hint: add, choices: free, edits: (chosen) => [{ do: "set", path: [...path, chosen], value: RATE }] }, change)];
}

/**
 * @param {Path} path
 * @param {string} name
 * @param {string} title
 * @param {Asked} asked
 * @param {boolean} only the last one of the list goes with the list
 * @param {Change} change
 */
function line(path, name, title, asked, only, change) {
  const at = [...path, name];
  const table = typeof asked === "object" ? asked : null;
  const label = (/** @type {string} */ key) => `${title}, ${t(`write.rate.${key}`)}`;
  const gone = /** @type {Edit} */ ({ do: "remove", path: only ? path : at });
  /** @param {string} key without which it may be one text again @returns {Edit} */
  const without = (key) => (EXTRAS.some((one) => one !== key && table?.[one] !== undefined) ? { do: "remove", path: [...at, key] } : { do: "set", path: at, value: rateOf(asked) });
  const removing = (/** @type {string} */ key) => /** @type {Change} */ ((edits, typing) => change(edits.map((edit) => (edit.do === "remove" ? (key === "rate" ? gone : without(key)) : edit)), typing));
  const rate = slot({ path: table ? [...at, "rate"] : at, value: rateOf(asked), name: `${title}, ${t("write.recipe.rates")}`, optional: true }, removing("rate"));
  const choices = /** @type {[string, string][]} */ ([]);
  for (const key of ["gap", "least"]) if (table?.[/** @type {"gap" | "least"} */ (key)] === undefined) choices.push([key, t(`write.rate.add_${key}`)]);
  choices.push(table?.need === false ? ["need", t("write.rate.needed")] : ["need", t("write.rate.not_needed")], ["remove", t("write.no_more")]);
  const more = pick({ name: t("write.change", { name: title }), key: JSON.stringify([...at, "⋯"]), classes: "dots", hint: "⋯", choices, edits: (chosen) => {
    if (chosen === "remove") return [gone];
    if (chosen === "need") return [table?.need === false ? without("need") : { do: "set", path: [...at, "need"], value: false }];
    return [{ do: "set", path: [...at, chosen], value: chosen === "gap" ? usualGap(rateOf(asked)) : LEAST }];
  } }, change);
  const said = /** @type {(string | Node)[]} */ ([]);
  for (const key of /** @type {const} */ (["gap", "least"])) {
    if (table?.[key] === undefined) continue;
    said.push(...(said.length ? [", "] : []), t(`write.rate.${key}`), " ", slot({ path: [...at, key], value: table[key], name: label(key), optional: true }, removing(key)));
  }
  if (table?.need === false) said.push(...(said.length ? [", "] : []), t("write.rate.not_needed"));
  return h("div", { class: "field rate" }, h("span", {}, title), h("span", { class: "asked" }, rate, " ", more), said.length ? h("p", { class: "extra" }, ...said) : null);
}

/**
 * What one capture records: the recipe's list, or one of its own.
 * @param {Record<string, any>} data the recipe's own tables
 * @param {number} place
 * @param {import("./sentence.js").Signal[]} signals
 * @param {Change} change
 */
export function ownRates(data, place, signals, change) {
  const own = data.capture[place].record;
  const path = ["capture", place, "record"];
  const whose = pick({ name: t("write.recipe.rates"), key: `${place} record`, value: own ? "own" : "all", choices: [["all", t("write.rate.all")], ["own", t("write.rate.own")]],
    edits: (chosen) => (chosen === "all" ? (own ? [{ do: "remove", path }] : []) : own ? [] : copied(path, data.record ?? {})) }, change);
  return [h("div", { class: "field" }, h("span", {}, t("write.recipe.rates")), whose), ...(own ? rates(path, own, signals, change) : [])];
}

/** The recipe's list written out for one capture, to be changed there. @param {Path} path @param {Record<string, Asked>} record @returns {Edit[]} */
function copied(path, record) {
  return Object.entries(record).flatMap(([name, asked]) => (typeof asked === "object" ? Object.entries(asked).map(([key, value]) => ({ do: "set", path: [...path, name, key], value })) : [{ do: "set", path: [...path, name], value: asked }]));
}
