// Whether the data can be trusted: what is wrong with a signal, and what that means for the verdict.

import { get, seg } from "../api.js";
import { h } from "../dom.js";
import { choose } from "../parts/ask.js";
import { attempt, button, crumb, title } from "../parts/page.js";
import { grid } from "../parts/grid.js";
import { mark } from "../parts/signs.js";
import { clock, needWords, t } from "../words.js";

const SHAPES = { ok: "tick", mind: "mind", bad: "cross" };
const TONES = { ok: "ok", mind: "hm", bad: "no" };
const STATES = { ok: "mark.ok", mind: "mark.warn", bad: "mark.bad" };

/** @param {import("../main.js").Way} way */
export async function health(way) {
  const id = way.params.get("drive") ?? "";
  const path = `drives/${seg(id)}/health`;
  const [made] = await Promise.all([get(path), way.style("css/review.css"), needWords("reviewpage")]);
  const rank = { bad: 0, mind: 1, ok: 2 };
  const odd = made.signals.filter((/** @type {any} */ one) => one.findings.length && one.state === "ok");
  const found = made.signals.filter((/** @type {any} */ one) => one.state !== "ok").sort((/** @type {any} */ a, /** @type {any} */ b) => rank[/** @type {keyof typeof rank} */ (a.state)] - rank[/** @type {keyof typeof rank} */ (b.state)]);
  const clean = made.signals.filter((/** @type {any} */ one) => !one.findings.length);
  const pair = { a: made.signals[0]?.signal ?? "", b: made.signals[1]?.signal ?? "" };
  const names = made.signals.map((/** @type {any} */ { signal, name }) => [signal, name]);
  const delays = h("ul", { class: "list" }, ...made.delays.map(delay));
  const acts = h("div", { class: "acts small" }, button(t("health.ask"), () => attempt(acts, async () => {
    const { delays: more } = await get(path, pair);
    delays.prepend(...more.map(delay));
  }), ""));
  return h("main", { class: "page review" }, crumb({ to: `#/after?drive=${seg(id)}`, back: t("look.back") }), title(t("health.title")), h("p", { class: "under" }, made.sentence),
    h("ul", { class: "list" }, ...found.map(signalItem), h("li", { class: "item" }, h("div", { class: "marks" }, mark("tick", t("mark.ok"), "ok")),
      h("div", {}, h("h2", {}, t(clean.length === 1 ? "health.clean_one" : "health.clean", { n: clean.length })), h("p", {}, clean.map((/** @type {any} */ { name }) => name).join(", ")))),
    h("li", { class: "item" }, h("div", { class: "marks" }, mark(made.order.means ? "mind" : "tick", t(made.order.means ? "mark.warn" : "mark.ok"), made.order.means ? "hm" : "ok")), h("div", {}, h("h2", {}, t("health.order")), h("p", {}, made.order.text, " ", made.order.means)))),
    odd.length ? h("details", { class: "rest-of" }, h("summary", {}, t(odd.length === 1 ? "health.small_one" : "health.small", { n: odd.length })), h("ul", {}, ...odd.map(signalItem))) : null,
    grid(rates(made.signals)),
    h("section", { class: "group" }, h("h2", {}, t("health.delays")), h("p", { class: "mini" }, t("health.delays_why")), delays,
      choose(t("health.first"), names, pair.a, (value) => void (pair.a = value)), choose(t("health.second"), names, pair.b, (value) => void (pair.b = value)), acts),
    h("div", { class: "grow" }));
}

/** @param {any} one */
function signalItem(one) {
  const state = /** @type {keyof typeof SHAPES} */ (one.state);
  return h("li", { class: "item" }, h("div", { class: "marks" }, mark(SHAPES[state], t(STATES[state]), TONES[state])),
    h("div", {}, h("h2", {}, one.name), ...one.findings.map((/** @type {any} */ { text, means }) => h("p", {}, h("b", {}, text), " ", means))));
}

/** @param {any} one */
function delay({ text, means, why }) {
  return h("li", { class: "item" }, h("div", { class: "marks" }, mark(why ? "ring" : "on")), h("div", {}, h("p", {}, text ? h("b", {}, text) : null, " ", means || why)));
}

/** @param {any[]} signals @returns {import("../parts/grid.js").Table} */
function rates(signals) {
  const column = (/** @type {string} */ id, /** @type {string} */ unit) => ({ id, name: t(`health.${id}`), unit });
  return {
    id: "rates", title: t("health.rates"), note: t("health.rates_why"),
    columns: [column("signal", ""), column("rate", "Hz"), column("asked", "Hz"), column("gap", "s"), column("gap_at", ""), column("gaps", ""), column("stuck", "s"), column("spikes", ""), column("saturated", ""), column("unreadable", ""), column("range", "")],
    rows: signals.map((one) => [one.name, one.rate_hz, one.asked_hz, one.max_gap_s, one.max_gap_at_s === null ? null : clock(one.max_gap_at_s), one.gaps, one.stuck_s, one.spikes, one.saturated, one.unreadable, one.out_of_range]),
  };
}
