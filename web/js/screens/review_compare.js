// From revision to revision: like windows over each other, differences with what they are not known better than.

import { get, seg } from "../api.js";
import { when } from "../dates.js";
import { h } from "../dom.js";
import { choose } from "../parts/ask.js";
import { corrected } from "../parts/corrected.js";
import { grid } from "../parts/grid.js";
import { crumb, problem, title } from "../parts/page.js";
import { timeText } from "../parts/ticks.js";
import { twin } from "../parts/twin.js";
import { mark } from "../parts/signs.js";
import { figure, needWords, t } from "../words.js";

/** @param {import("../main.js").Way} way */
export async function compare(way) {
  const { params } = way;
  const query = { a: params.get("a") ?? "", b: params.get("b") ?? "", capture: params.get("capture") ?? "" };
  const [review, all] = await Promise.all([get(`drives/${seg(query.a)}/review`), get("log", { limit: 200 }), way.style("css/review.css"), needWords("reviewpage")]);
  const captures = review.captures.map((/** @type {any} */ one) => [one.id, one.title]);
  query.capture ||= (review.captures.find((/** @type {any} */ one) => one.qualified && one.kind === "sweep") ?? review.captures.find((/** @type {any} */ one) => one.qualified) ?? review.captures[0])?.id ?? "";
  const drives = all.drives.map((/** @type {any} */ one) => [one.id, nameOf(one)]);
  const heading = title(t("compare.title"));
  const under = h("p", { class: "under", role: "status" }, t("compare.looking"));
  const box = h("div", {});
  const again = async () => {
    box.parentElement?.querySelector(".problem")?.remove();
    try {
      show(await get("compare", query));
    } catch (error) {
      under.textContent = "";
      box.replaceChildren(problem(error));
    }
  };
  const set = (/** @type {"a" | "b" | "capture"} */ key) => (/** @type {string} */ value) => {
    query[key] = value;
    again();
  };
  /** @param {any} data */
  function show(data) {
    heading.textContent = data.title;
    under.textContent = data.sentence;
    const plots = h("div", { class: "traces" });
    const sides = [side(data.a), side(data.b)];
    box.replaceChildren(
      h("section", { class: "group" }, h("h2", {}, t("compare.over")), h("p", { class: "mini key-lines" }, h("i", { class: "before" }), t("compare.before", { of: sides[0] }), h("i", {}), t("compare.after", { of: sides[1] })), plots),
      h("section", { class: "group" }, h("h2", {}, t("compare.differences")), h("p", { class: "mini" }, t("compare.repeats", { a: data.a.repeats, b: data.b.repeats })), h("ul", { class: "differences" }, ...data.figures.map(difference))),
      ...(data.spans.length ? [h("section", { class: "group" }, h("h2", {}, t("compare.spans")), h("ul", { class: "differences" }, ...data.spans.map(span)))] : []),
      ...(data.power ? [h("section", { class: "group" }, h("h2", {}, t("compare.power")), h("p", { class: "mini" }, data.power.why || data.power.sentence),
        ...(data.power.table ? [grid(data.power.table)] : []), ...(data.power.corrections ? [corrected(data.power.corrections.a, sides[0]), corrected(data.power.corrections.b, sides[1])] : []), h("p", { class: "mini caveat" }, data.caveat))] : []),
      h("section", { class: "group" }, h("h2", {}, t("compare.air")), h("dl", { class: "inputs" }, ...[data.a, data.b].map((one, n) => h("div", {}, h("dt", {}, sides[n]), h("dd", {}, air(data.weather[n ? "b" : "a"]), " ", h("a", { class: "deeper", href: `#/label?drive=${seg(one.drive)}` }, t("compare.type_in"))))))),
      ...(data.tables.length ? [h("details", { class: "rest-of" }, h("summary", {}, t("compare.bins", { n: data.tables.length })), ...data.tables.map(grid))] : []));
    draw(way, plots, data);
  }
  again();
  return h("main", { class: "page review wide" }, crumb({ to: `#/after?drive=${seg(query.a)}`, back: t("look.back"), here: t("compare.title") }), heading, under,
    h("details", { class: "rest-of choice-of" }, h("summary", {}, t("compare.choose")), choose(t("compare.capture"), captures, query.capture, set("capture")), choose(t("compare.earlier"), [["", t("compare.last")], ...drives], query.b, set("b")), choose(t("compare.later"), drives, query.a, set("a"))),
    box, h("div", { class: "grow" }));
}

/** @param {any} one */
function nameOf(one) {
  return t("compare.drive", { day: when(one.started_at), revision: one.recipe.revision, name: one.name });
}

/** @param {{revision: number}} one */
const side = ({ revision }) => t("recipe.revision", { n: revision });

/** @param {any} weather */
const air = ({ why, text }) => why || text;

/** A difference is filled only where it is real. @param {any} one */
function difference(one) {
  const value = (/** @type {number | null} */ v) => (v === null ? "–" : figure(v));
  return h("li", { class: one.real ? "real" : null }, mark(one.real ? "secured" : "todo", t(one.real ? "compare.real" : "compare.not_real")),
    h("div", {}, h("b", {}, one.name), h("p", {}, one.sentence)), h("div", { class: "both" }, h("span", {}, value(one.a), " → ", h("b", {}, value(one.b))), h("small", {}, one.unit)));
}

/** @param {any} one */
function span({ text, a_s: a, b_s: b, real, sentence }) {
  return difference({ name: text, sentence, a, b, real, unit: "s" });
}

/** @param {import("../main.js").Way} way @param {HTMLElement} box @param {any} data */
async function draw(way, box, { overlay }) {
  try {
    const signals = overlay.signals.filter((/** @type {any} */ { a, b }) => a.x.length > 1 && b.x.length > 1);
    if (!signals.length) {
      box.replaceChildren(h("p", { class: "mini" }, t("compare.no_plots")));
      return;
    }
    const { Plots } = await import("../parts/plots.js");
    const plots = await Plots.load(way);
    if (!way.current()) return;
    const time = overlay.over.unit === "s";
    const text = (/** @type {number} */ x) => (time ? timeText(x, 0.1) : t("look.rpm", { n: Math.round(x), unit: overlay.over.unit }));
    const ends = signals.flatMap((/** @type {any} */ { a, b }) => [...a.x, ...b.x]);
    let [least, most] = [Infinity, -Infinity];
    for (const x of ends) [least, most] = [Math.min(least, x), Math.max(most, x)];
    plots.begin(box, [least, most], text);
    signals.forEach((/** @type {any} */ one, /** @type {number} */ n) => plots.add(box, one.signal, { name: one.name, unit: one.unit, time, big: n === 0, series: [{ ...upward(one.b), look: "main" }, { ...upward(one.a), look: "before" }] }));
    const table = twin({ across: overlay.over.name, shown: () => plots.view.now, text, signals: () => signals.flatMap((/** @type {any} */ one) => [{ ...one, ...upward(one.a), name: t("compare.before", { of: one.name }) }, { ...one, ...upward(one.b), name: t("compare.after", { of: one.name }) }]) });
    box.append(table.container);
    plots.view.rest = () => table.redraw();
  } catch {
    box.replaceChildren(h("p", { class: "under no-plots" }, t("window.no_plots")));
  }
}

/** @param {{x: number[], values: number[]}} line @returns {{x: number[], values: number[]}} */
function upward({ x, values }) {
  const order = x.map((_, n) => n).sort((a, b) => x[a] - x[b]).filter((n, k, all) => k === 0 || x[n] !== x[all[k - 1]]);
  return { x: order.map((n) => x[n]), values: order.map((n) => values[n]) };
}
