// The traces of a whole drive: any of its signals, on shared time, finer where one looks closer.

import { get, Refused, seg } from "../api.js";
import { h } from "../dom.js";
import { Reader, TRACES } from "../kept.js";
import { crumb, title } from "../parts/page.js";
import { follow, POINTS } from "../parts/proof.js";
import { timeText } from "../parts/ticks.js";
import { twin } from "../parts/twin.js";
import { needWords, t } from "../words.js";

const FIRST = ["engine_speed", "road_speed", "manifold_pressure", "pedal", "coolant_temp"];
const MOST = 12;

/** @param {import("../main.js").Way} way */
export async function traces(way) {
  const id = way.params.get("drive") ?? "";
  const reader = new Reader();
  /** @type {any} what this phone keeps of them, where the laptop is away */
  let kept = null;
  const ask = async (/** @type {string} */ part, /** @type {Record<string, any>} */ query) => {
    if (kept) return here(kept, query);
    try {
      return await get(`drives/${seg(id)}/${part}`, query);
    } catch (error) {
      if (!(error instanceof Refused) || error.code !== "unreachable" || query.first !== undefined) throw error;
      kept = await reader.get(`drives/${seg(id)}/${part}`, TRACES);
      return here(kept, query);
    }
  };
  // The library comes while the server looks; where there is none, the plots say so.
  const library = import("../parts/plots.js").then(({ Plots }) => Plots.load(way));
  library.catch(() => undefined);
  // Which signals there are, with the fewest points; what is drawn is asked for by name.
  const [all] = await Promise.all([ask("traces", { points: 10 }), way.style("css/review.css"), needWords("reviewpage")]);
  const there = all.signals.filter((/** @type {any} */ { t_s: x }) => x.length > 1);
  const wanted = (way.params.get("signals") ?? "").split(",");
  const known = (/** @type {string[]} */ names) => names.filter((name) => there.some((/** @type {any} */ one) => one.signal === name));
  const chosen = new Set(known(wanted).length ? known(wanted) : known(FIRST).length ? known(FIRST) : there.slice(0, 3).map((/** @type {any} */ one) => one.signal));
  const box = h("div", { class: "traces" });
  const names = h("div", { class: "chips" }, ...there.map((/** @type {any} */ one) => h("label", {}, h("input", {
    type: "checkbox", name: "signal", value: one.signal, checked: chosen.has(one.signal),
    onchange: (/** @type {Event} */ { target }) => {
      const { checked } = /** @type {HTMLInputElement} */ (target);
      if (checked) chosen.add(one.signal);
      else chosen.delete(one.signal);
      draw();
    },
  }), one.name)));
  let turn = 0;
  async function draw() {
    const mine = ++turn;
    const some = there.map((/** @type {any} */ one) => one.signal).filter((/** @type {string} */ name) => chosen.has(name)).slice(0, MOST);
    if (!some.length) {
      box.replaceChildren(h("p", { class: "under" }, t("traces.none")));
      return;
    }
    try {
      const [plots, data] = await Promise.all([library, ask("traces", { signals: some.join(","), points: POINTS })]);
      if (mine !== turn || !way.current()) return;
      const text = (/** @type {number} */ s) => timeText(s, 0.1);
      plots.begin(box, [data.from_s, data.to_s], text);
      data.signals.forEach((/** @type {any} */ one, /** @type {number} */ n) => plots.add(box, one.signal, { ...one, series: [{ x: one.t_s, values: one.values }], big: n === 0 }));
      const table = twin({ across: t("twin.time"), shown: () => plots.view.now, text, signals: () => [...plots.drawn.values()].map(({ what, series }) => ({ ...what, ...series[0] })) });
      box.append(table.container);
      follow(plots, ask, new Map([...plots.drawn].map(([name, plot]) => [name, plot.series])), table.redraw);
    } catch {
      if (mine === turn) box.replaceChildren(h("p", { class: "under no-plots" }, t("window.no_plots")));
    }
  }
  draw();
  return h("main", { class: "page review wide", "data-kept-at": reader.at }, crumb({ to: `#/after?drive=${seg(id)}`, back: t("look.back") }), title(t("traces.title")),
    h("details", { class: "rest-of choice-of" }, h("summary", {}, t("traces.choose", { n: there.length })), names), box, h("div", { class: "grow" }));
}

/**
 * The signals asked for, of what is kept; it does not get finer.
 * @param {any} kept
 * @param {{signals?: string, first?: string}} query
 */
function here(kept, { signals, first }) {
  if (first !== undefined) throw new Refused("unreachable", "");
  return signals ? { ...kept, signals: kept.signals.filter((/** @type {any} */ one) => signals.split(",").includes(one.signal)) } : kept;
}
