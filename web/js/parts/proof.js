// The proof of a window: its signals over time with bands, limits and what went outside; a sweep also over engine speed.

import { h } from "../dom.js";
import { figure, t } from "../words.js";
import { timeText } from "./ticks.js";
import { twin } from "./twin.js";

/** @typedef {(part: string, query: Record<string, any>) => Promise<any>} Ask */

/** Of how many points a plot is drawn; a phone shows fewer. */
export const POINTS = 1200;

/**
 * @param {import("./plots.js").Plots} plots
 * @param {HTMLElement} container
 * @param {any} data GET windows/{capture}/{number}
 * @param {import("../types.js").Attempt | undefined} attempt
 * @param {Ask} ask
 */
export function overTime(plots, container, data, attempt, ask) {
  const ends = data.signals.flatMap((/** @type {any} */ { t_s: t_ }) => (t_.length ? [t_[0], t_[t_.length - 1]] : []));
  const text = (/** @type {number} */ s) => timeText(s - data.start_s, 0.1);
  plots.begin(container, [Math.min(...ends), Math.max(...ends)], text);
  const series = (/** @type {any} */ { t_s: x, values }) => [{ x, values }];
  plots.proof(container, data.signals.map((/** @type {any} */ signal) => [signal.signal, { ...signal, series: series(signal), window: data, out: outside(attempt, signal) }]));
  const { view } = plots;
  const table = twin({
    across: t("twin.time"), shown: () => view.now, text,
    signals: () => data.signals.map((/** @type {any} */ one) => ({ ...one, x: one.t_s })),
  });
  container.append(table.container);
  follow(plots, ask, new Map(data.signals.map((/** @type {any} */ one) => [one.signal, series(one)])), table.redraw);
}

/**
 * Asks again, finer, when the view has come to rest; what was there first stands again when it shows the whole.
 * @param {import("./plots.js").Plots} plots
 * @param {Ask} ask
 * @param {Map<string, import("./plot.js").Series[]>} first
 * @param {() => unknown} redraw
 */
export function follow(plots, ask, first, redraw) {
  let turn = 0;
  const { view } = plots;
  view.rest = async (from, to, zoomed) => {
    const mine = ++turn;
    redraw();
    if (!zoomed) {
      for (const [name, plot] of plots.drawn) plot.update(first.get(name) ?? plot.series);
      return;
    }
    const names = [...plots.drawn.keys()];
    const edge = (to - from) / 10;
    const query = { signals: names.join(","), first: Math.max(0, from - edge).toFixed(3), last: (to + edge).toFixed(3), points: POINTS };
    // With the laptop gone what is here stays: it only does not get finer.
    const finer = await ask("traces", query).catch(() => null);
    if (mine !== turn || !finer) return;
    for (const one of finer.signals) if (one.t_s.length > 1) plots.drawn.get(one.signal)?.update([{ x: one.t_s, values: one.values }]);
  };
}

/**
 * Where a signal left its band, and the moment that broke the attempt.
 * @param {import("../types.js").Attempt | undefined} attempt
 * @param {{signal: string}} signal
 */
function outside(attempt, { signal }) {
  const all = (attempt?.excursions ?? []).filter((one) => one.signal === signal)
    .map(({ start_s: from, duration_s: long, peak }) => ({ from, to: from + long, text: peak === null ? t("look.out") : t("look.out_at", { value: figure(peak) }) }));
  const reason = attempt?.reason;
  if (reason?.signal === signal && reason.value !== null) all.push({ from: reason.t_s, to: reason.t_s, text: t("look.out_at", { value: figure(reason.value) }) });
  return all;
}

/**
 * @param {import("./plots.js").Plots} plots
 * @param {HTMLElement} container
 * @param {any} data
 * @param {Ask} ask
 */
export async function overSpeed(plots, container, data, ask) {
  const made = await ask(`over/${encodeURIComponent(data.capture)}/${data.number}`, { signal: "engine_speed" });
  const signals = made.signals.filter((/** @type {any} */ { x, signal }) => x.length > 1 && signal !== made.over.signal).map(sorted);
  const ends = signals.flatMap((/** @type {any} */ { x }) => [x[0], x[x.length - 1]]);
  const text = (/** @type {number} */ x) => t("look.rpm", { n: Math.round(x), unit: made.over.unit });
  if (!ends.length) {
    container.replaceChildren(h("p", { class: "under" }, t("look.over_none")));
    return;
  }
  plots.begin(container, [Math.min(...ends), Math.max(...ends)], text);
  plots.proof(container, signals.map((/** @type {any} */ one) => [one.signal, { ...one, time: false, series: [{ x: one.x, values: one.values }] }]));
  container.append(h("p", { class: "mini" }, t("look.over_note", { s: made.lambda_delay_s })));
  const table = twin({ across: `${made.over.name}, ${made.over.unit}`, shown: () => plots.view.now, text: (x) => String(Math.round(x)), signals: () => signals });
  container.append(table.container);
  plots.view.rest = () => table.redraw();
}

/** A dip of the engine speed goes back: plots run one way only. @param {any} signal */
function sorted(signal) {
  const order = signal.x.map((/** @type {number} */ _, /** @type {number} */ n) => n).sort((/** @type {number} */ a, /** @type {number} */ b) => signal.x[a] - signal.x[b]);
  return { ...signal, x: order.map((/** @type {number} */ n) => signal.x[n]), values: order.map((/** @type {number} */ n) => signal.values[n]) };
}
