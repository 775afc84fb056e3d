// A window, opened: the proof. Verdict, strip, each signal on shared time, a table, the file.

import { get, seg } from "../api.js";
import { h } from "../dom.js";
import { crumb, title } from "../parts/page.js";
import { mark } from "../parts/signs.js";
import { wholeDrive } from "../parts/whole_drive.js";
import { t, upper } from "../words.js";
import { length, review, verdictLine, why } from "./after.js";

/**
 * @typedef {object} WindowSignal
 * @property {string} signal
 * @property {string} name
 * @property {string} unit
 * @property {(number | null)[]} t_s
 * @property {(number | null)[]} values
 * @property {number | null} [low]
 * @property {number | null} [high]
 * @property {number | null} [limit]
 * @property {string} [asked]
 * @property {number} [rate_hz]
 * @property {number} [max_gap_s]
 */

/** @param {import("../main.js").Way} way */
export async function window(way) {
  way.style("css/review.css");
  const { params } = way;
  const [drive, capture, number] = [params.get("drive") ?? "", params.get("capture") ?? "", Number(params.get("number") ?? 0)];
  const { verdict, captures, titleOf } = await review(drive);
  const one = verdict.captures.find(({ id }) => id === capture);
  const attempt = one?.attempts.find((each, index) => (each.number ?? index) === number);
  const kind = captures.get(capture)?.kind ?? "hold";
  const path = `drives/${seg(drive)}/windows/${seg(capture)}/${number}`;
  const data = await get(path).catch(() => null);
  const heading = attempt ? t(kind === "sweep" ? "window.pulled" : "window.held", { length: length(attempt, kind) }) : titleOf(capture);
  const shape = attempt?.outcome ?? "todo";
  const plots = h("div", { class: "traces" });
  const page = h("main", { class: "page review" },
    crumb({ to: `#/after?drive=${seg(drive)}`, back: verdictLine(verdict), here: t("recipe.revision", { n: verdict.recipe.revision }) }),
    h("div", { class: "verdict" }, mark(shape, t(`outcome.${shape}`), shape === "secured" ? "ok" : shape === "stopped" ? "no" : ""), title(heading),
      h("p", { class: "under" }, [`${titleOf(capture)}.`, `${upper(t(`outcome.${shape}`))}.`, attempt ? why(attempt) : ""].filter(Boolean).join(" "))),
    wholeDrive(drive, verdict, titleOf, { capture, number }), plots, data ? table(data.signals, data) : null, h("div", { class: "grow" }),
    h("div", { class: "acts" }, h("a", { class: "act main wide", href: `api/${path}.csv`, download: `${capture}-${number}.csv` }, t("window.csv"))));
  if (data) draw(plots, data, way);
  else plots.append(h("p", { class: "under" }, t("window.no_data")));
  return page;
}

/**
 * @param {HTMLElement} plots
 * @param {any} data
 * @param {import("../main.js").Way} way
 */
async function draw(plots, data, way) {
  try {
    const { Plots } = await import("../parts/plots.js");
    const shown = await Plots.load(way);
    if (way.current()) shown.draw(plots, data);
  } catch {
    plots.append(h("p", { class: "under no-plots" }, t("window.no_plots")));
  }
}

/**
 * Each signal in figures, over the window itself.
 * @param {WindowSignal[]} signals
 * @param {any} data
 */
function table(signals, data) {
  const columns = ["mean", "least", "most", "rate", "gap"];
  const rows = signals.map((signal) => {
    const f = figures(signal, data);
    const cells = [f.mean, f.least, f.most, signal.rate_hz, signal.max_gap_s];
    const units = [signal.unit, signal.unit, signal.unit, t("window.a_second"), "s"];
    return h("tr", {}, h("th", { scope: "row" }, signal.name),
      ...cells.map((cell, n) => h("td", { "data-label": t(`window.${columns[n]}`) }, cell === null || cell === undefined ? "–" : h("span", {}, h("b", {}, figure(cell)), ` ${units[n]}`))));
  });
  return h("div", { class: "fig-wrap" }, h("table", { class: "fig" }, h("caption", {}, t("window.table")),
    h("thead", {}, h("tr", {}, h("th", { scope: "col" }, t("window.signal")), ...columns.map((name) => h("th", { scope: "col" }, t(`window.${name}`))))), h("tbody", {}, ...rows)));
}

/** @param {any} signal @param {any} data */
function figures(signal, data) {
  if (signal.mean !== undefined) return { mean: signal.mean, least: signal.least ?? signal.min, most: signal.most ?? signal.max };
  const inside = signal.values.filter((/** @type {any} */ v, /** @type {number} */ n) => v !== null && signal.t_s[n] >= data.start_s && signal.t_s[n] <= data.end_s);
  if (!inside.length) return { mean: null, least: null, most: null };
  return { mean: inside.reduce((/** @type {number} */ a, /** @type {number} */ b) => a + b, 0) / inside.length, least: Math.min(...inside), most: Math.max(...inside) };
}

/** @param {number} value */
function figure(value) {
  const size = Math.abs(value);
  return value.toFixed(Number.isInteger(value) || size >= 1000 ? 0 : size >= 10 ? 1 : 2);
}
