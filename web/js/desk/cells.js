// Which cells need no visit: the cells as a small table, each to be left out or taken in again with one press.

import { h } from "../dom.js";
import { t } from "../words.js";

/** @typedef {import("./slots.js").Change} Change */
/** @typedef {import("./slots.js").Path} Path */
/** @typedef {{name: string, title: string, unit: string, edges: number[]}} Axis */

/** Whether the table stands open: it is drawn anew with every press. */
let open = false;

/**
 * A number and its unit, or null for what only the text can say.
 * @param {unknown} text
 * @returns {{value: number, unit: string} | null}
 */
function parts(text) {
  const found = /^\s*([-+]?(?:\d+\.?\d*|\.\d+))\s*(\S*)\s*$/.exec(String(text));
  return found ? { value: Number(found[1]), unit: found[2] } : null;
}

/**
 * @param {Record<string, any>} cells of the recipe
 * @param {(name: string) => string} called
 * @returns {Axis[] | null} null where edges are not all plain numbers of one unit
 */
function axesOf(cells, called) {
  const axes = Object.entries(cells.edges ?? {}).map(([name, edges]) => {
    const all = /** @type {unknown[]} */ (edges).map(parts);
    const unit = all[0]?.unit ?? "";
    return all.length > 1 && all.every((one) => one && one.unit === unit) ? { name, title: called(name), unit, edges: all.map((one) => one?.value ?? 0) } : null;
  });
  return axes.length && axes.length <= 2 && axes.every(Boolean) ? /** @type {Axis[]} */ (axes) : null;
}

/** In which cell of an axis a value lies; the lower edge belongs to it. @param {Axis} axis @param {unknown} text */
function placeIn({ edges, unit }, text) {
  const found = parts(text);
  if (!found || found.unit !== unit) return -1;
  return edges.findIndex((edge, n) => n < edges.length - 1 && found.value >= edge && found.value < edges[n + 1]);
}

/** A value within a cell, as it is written into the file. @param {Axis} axis @param {number} n */
const within = ({ edges, unit }, n) => `${Number(((edges[n] + edges[n + 1]) / 2).toPrecision(6))} ${unit}`.trim();

/**
 * @param {Path} path of the cells
 * @param {Record<string, any>} cells
 * @param {(name: string) => string} called what a signal is called
 * @param {Change} change
 */
export function leftOut(path, cells, called, change) {
  const axes = axesOf(cells, called);
  if (!axes) return null;
  /** Those left out, also while what was pressed last is still being taken in. */
  let without = /** @type {Record<string, unknown>[]} */ (cells.without ?? []);
  const [across, down = null] = axes;
  const keyOf = (/** @type {Record<string, unknown>} */ one) => axes.map((axis) => placeIn(axis, one[axis.name])).join(" ");
  const out = new Set(without.map(keyOf));
  const whole = axes.reduce((n, { edges }) => n * (edges.length - 1), 1);
  const columns = across.edges.slice(0, -1).map((_, n) => n);
  const rows = down ? down.edges.slice(0, -1).map((_, n) => n).reverse() : [0];
  const span = (/** @type {Axis} */ { edges }, /** @type {number} */ n) => t("write.cell_span", { from: edges[n], to: edges[n + 1] });

  /** @param {number} column @param {number} row */
  function cell(column, row) {
    const key = (down ? [column, row] : [column]).join(" ");
    const left = out.has(key);
    const name = [`${across.title} ${span(across, column)} ${across.unit}`.trim(), ...(down ? [`${down.title} ${span(down, row)} ${down.unit}`.trim()] : [])].join(", ");
    const press = () => {
      const rest = without.filter((one) => keyOf(one) !== key);
      if (rest.length === without.length) rest.push({ [across.name]: within(across, column), ...(down ? { [down.name]: within(down, row) } : {}) });
      without = rest;
      change([rest.length ? { do: "set", path: [...path, "without"], value: rest } : { do: "remove", path: [...path, "without"] }], false);
    };
    return h("td", {}, h("button", { type: "button", class: "cell", "aria-pressed": String(!left), "aria-label": name, "data-key": JSON.stringify([...path, "without", key]), onclick: press }));
  }

  const heads = h("tr", {}, ...(down ? [h("td", {})] : []), ...columns.map((n) => h("th", { scope: "col" }, span(across, n))));
  const body = rows.map((row) => h("tr", {}, ...(down ? [h("th", { scope: "row" }, span(down, row))] : []), ...columns.map((column) => cell(column, row))));
  const words = out.size ? t(out.size === 1 ? "write.cells_out_one" : "write.cells_out", { n: out.size, of: whole }) : t("write.cells_all", { of: whole });
  return h("details", { class: "more cells-of", ...(open ? { open: true } : {}), ontoggle: (/** @type {Event} */ { target }) => { open = /** @type {HTMLDetailsElement} */ (target).open; } },
    h("summary", {}, words), h("p", { class: "mini" }, t(down ? "write.cells_how" : "write.cells_how_one", { across: withUnit(across), down: down ? withUnit(down) : "" })),
    h("div", { class: "grid-of" }, h("table", { class: "grid" }, h("thead", {}, heads), h("tbody", {}, ...body))));
}

/** @param {Axis} axis */
const withUnit = ({ title, unit }) => (unit ? `${title}, ${unit}` : title);
