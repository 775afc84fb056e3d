// The figures of a window that a calibrator reads first, by its kind; what cannot be said says why.

import { get, seg } from "../api.js";
import { h } from "../dom.js";
import { choose, typed } from "../parts/ask.js";
import { grid } from "../parts/grid.js";
import { attempt, crumb, title } from "../parts/page.js";
import { mark } from "../parts/signs.js";
import { needWords, t, upper } from "../words.js";

const KINDS = ["part_load", "sweep", "idle", "tip_in", "overrun", "start", "decel_idle"];

/**
 * @typedef {{id: string, name: string, text: string, spread_text: string, error_text: string, why: string, note: string}} Figure
 * @typedef {{signal: string, name: string, rate_hz: number | null, asked_hz: number | null, max_gap_s: number | null, text: string}} Rate
 */

/** @param {import("../main.js").Way} way */
export async function figures(way) {
  const { params } = way;
  const [drive, capture, number] = [params.get("drive") ?? "", params.get("capture") ?? "", Number(params.get("number") ?? 0)];
  const path = `drives/${seg(drive)}/summary/${seg(capture)}/${number}`;
  const query = { kind: "", lambda_delay: "0.2" };
  const [made] = await Promise.all([get(path), way.style("css/review.css"), needWords("reviewpage")]);
  const kind = h("span", {}, made.kind_name);
  const box = h("div", { class: "figures" });
  const read = h("details", { class: "rest-of choice-of" }, h("summary", {}, t("figures.read")));
  const again = () => attempt(box, async () => show(await get(path, query)));
  const late = typed(t("figures.late"), { type: "number", min: 0, max: 5, step: 0.05, value: query.lambda_delay, inputmode: "decimal", onchange: () => {
    query.lambda_delay = String(Math.min(5, Math.max(0, Number(late.input.value) || 0)));
    again();
  } }, "s", t("figures.late_why"));
  read.append(choose(t("figures.kind"), KINDS.map((each) => [each, t(`kinds.${each}`)]), made.kind, (value) => {
    query.kind = value;
    again();
  }), late.container);
  /** @param {any} data */
  function show(data) {
    kind.textContent = data.kind_name;
    const rates = new Map(data.rates.map((/** @type {Rate} */ one) => [one.signal, one]));
    box.replaceChildren(...data.groups.map((/** @type {any} */ one) => group(one, rates)), rateTable(data.rates));
  }
  show(made);
  return h("main", { class: "page review" }, crumb({ to: `#/window?drive=${seg(drive)}&capture=${seg(capture)}&number=${number}`, back: t("look.window"), here: kind }),
    title(made.title), h("p", { class: "under" }, t("figures.under")), read, box, h("div", { class: "grow" }));
}

/**
 * A group: what is known first, then what cannot be said.
 * @param {{id: string, title: string, note: string, figures: Figure[], tables: import("../parts/grid.js").Table[]}} group
 * @param {Map<string, Rate>} rates
 */
export function group({ title: name, note, figures: all, tables }, rates) {
  const [said, unsaid] = [all.filter(({ why }) => !why), all.filter(({ why }) => why)];
  return h("section", { class: "group" }, h("h2", {}, name), note ? h("p", { class: "mini" }, note) : null,
    said.length ? h("dl", {}, ...said.map((one) => row(one, rates.get(one.id)))) : null,
    unsaid.length ? h("ul", { class: "unsaid" }, ...unsaid.map((one) => h("li", {}, mark("ring"), h("div", {}, h("b", {}, one.name), " ", one.why)))) : null,
    ...tables.filter(({ rows }) => rows.length).map(grid));
}

/** @param {Figure} figure @param {Rate} [rate] */
function row({ name, text, spread_text: spread, error_text: error, note }, rate) {
  const beside = [spread ? t("figures.spread", { text: spread }) : "", error ? t("figures.error", { text: error }) : "", rate?.text ?? ""].filter(Boolean);
  return h("div", {}, h("dt", {}, name), h("dd", {}, h("b", {}, text)),
    beside.length || note ? h("dd", { class: "beside" }, upper([beside.join(", "), note].filter(Boolean).join(". "))) : null);
}

/** @param {Rate[]} rates */
function rateTable(rates) {
  const slow = (/** @type {Rate} */ { rate_hz: hz, asked_hz: asked }) => asked !== null && (hz === null || hz < asked * 0.8);
  return h("section", { class: "group" }, h("h2", {}, t("figures.rates")), h("p", { class: "mini" }, t("figures.rates_why")),
    h("ul", { class: "rates-of" }, ...rates.map((one) => h("li", { class: slow(one) ? "slow" : null }, slow(one) ? mark("mind", t("mark.warn")) : mark("tick"), h("span", {}, one.name),
      h("span", {}, one.text, one.asked_hz === null ? null : h("small", {}, t("figures.asked", { hz: one.asked_hz })))))));
}
