// A table as the server gives it: columns with units, rows of numbers and words; null is nothing there.

import { h } from "../dom.js";
import { decimal } from "../words.js";
import { scrolled } from "./twin.js";

/**
 * @typedef {object} Table
 * @property {string} id
 * @property {string} title
 * @property {string} note
 * @property {{id: string, name: string, unit: string}[]} columns
 * @property {(number | string | null)[][]} rows
 *
 * @param {Table} table
 */
export function grid({ title, note, columns, rows }) {
  const words = rows.some((row) => row.some((cell) => typeof cell === "string" && cell.length > 40));
  return h("div", { class: "grid-of" }, h("h3", {}, title), note ? h("p", { class: "mini" }, note) : null,
    scrolled(title, h("table", { class: `grid${words ? " wordy" : ""}` }, h("caption", { class: "heard" }, title),
      h("thead", {}, h("tr", {}, ...columns.map(({ name, unit }) => h("th", { scope: "col" }, name, unit ? h("small", {}, unit) : null)))),
      h("tbody", {}, ...rows.map((row) => h("tr", {}, ...row.map((cell, n) => h(n === 0 ? "th" : "td", n === 0 ? { scope: "row" } : { class: typeof cell === "string" && cell.length > 40 ? "said" : null }, cell === null ? "–" : typeof cell === "number" ? decimal(cell) : cell))))))));
}
