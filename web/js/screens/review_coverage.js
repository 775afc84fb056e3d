// Where the engine was: seconds in each cell of engine speed and load, and which wanted cells are still empty.

import { get, seg } from "../api.js";
import { h, place } from "../dom.js";
import { choose, typed } from "../parts/ask.js";
import { attempt, crumb, title } from "../parts/page.js";
import { pick } from "../parts/pick.js";
import { mark } from "../parts/signs.js";
import { scrolled } from "../parts/twin.js";
import { clock, decimal, needWords, t } from "../words.js";

/** @param {import("../main.js").Way} way */
export async function coverage(way) {
  const id = way.params.get("drive") ?? "";
  const path = `drives/${seg(id)}/coverage`;
  const query = { load: "", step_rpm: "500", step_load: "10", scope: way.params.get("scope") === "revision" ? "revision" : "drive" };
  const [made] = await Promise.all([get(path, query), way.style("css/review.css"), needWords("reviewpage")]);
  const box = h("div", {});
  const under = h("p", { class: "under", role: "status" });
  const again = () => attempt(box, async () => show(await get(path, query)));
  const step = typed(t("coverage.step_load"), { type: "number", min: 1, max: 1000, step: 1, value: query.step_load, inputmode: "numeric", onchange: () => {
    query.step_load = String(Math.max(1, Math.round(Number(step.input.value) || 10)));
    again();
  } });
  const choices = h("details", { class: "rest-of choice-of" }, h("summary", {}, t("coverage.bins")));
  const loads = made.loads.map((/** @type {any} */ { signal, name }) => [signal, name]);
  choices.append(choose(t("coverage.load"), loads, made.y?.signal ?? "", (value) => {
    query.load = value;
    again();
  }), choose(t("coverage.step_rpm"), ["250", "500", "1000"].map((n) => [n, t("look.rpm", { n, unit: "rpm" })]), query.step_rpm, (value) => {
    query.step_rpm = value;
    again();
  }), step.container);
  /** @param {any} data */
  function show(data) {
    if (data.why) {
      under.textContent = data.why;
      box.replaceChildren();
      return;
    }
    const empty = data.empty_wanted.length;
    const wanted = data.wanted.some((/** @type {boolean[]} */ row) => row.some(Boolean));
    under.textContent = [t(data.drives.length === 1 ? "coverage.of_one" : "coverage.of", { n: data.drives.length, time: clock(data.total_s) }), wanted ? t(empty === 0 ? "coverage.full" : empty === 1 ? "coverage.empty_one" : "coverage.empty", { n: empty }) : t("coverage.nothing_wanted")].join(" ");
    box.replaceChildren(cells(data), key(), empty ? h("section", { class: "group" }, h("h2", {}, t("coverage.still")), h("ul", { class: "unsaid" }, ...data.empty_wanted.slice(0, 60).map((/** @type {any} */ one) => h("li", {}, mark("todo"), h("div", {}, one.text))))) : h("span", {}),
      data.left_out_s > 1 ? h("p", { class: "mini" }, t("coverage.left_out", { time: clock(data.left_out_s) })) : h("span", {}));
  }
  show(made);
  return h("main", { class: "page review wide" }, crumb({ to: `#/after?drive=${seg(id)}`, back: t("look.back") }), title(t("coverage.title")), under,
    pick("scope", t("coverage.scope"), [["drive", t("coverage.this")], ["revision", t("coverage.all")]], query.scope, (value) => {
      query.scope = value;
      again();
    }), choices, box, h("div", { class: "grow" }));
}

/** Only rows and columns in which the engine was, or was wanted. @param {any} data */
function cells({ x, y, dwell_s: dwell, wanted, empty_wanted: empty }) {
  const within = (/** @type {number} */ low, /** @type {number} */ high, /** @type {number | null} */ from, /** @type {number | null} */ to) => (from === null || high > from) && (to === null || low < to);
  // A stretch that is wanted and visited anywhere is not empty, although many cells of it are.
  const hollow = (/** @type {number} */ r, /** @type {number} */ c) => empty.some((/** @type {any} */ one) => within(x.edges[c], x.edges[c + 1], one.x_low, one.x_high) && within(y.edges[r], y.edges[r + 1], one.y_low, one.y_high));
  const asked = (/** @type {number} */ r, /** @type {number} */ c) => Boolean(wanted[r]?.[c]) && (seen(r, c) || hollow(r, c));
  const seen = (/** @type {number} */ r, /** @type {number} */ c) => dwell[r][c] >= 0.05;
  const columns = [...Array(x.edges.length - 1).keys()];
  const rows = [...Array(y.edges.length - 1).keys()].reverse();
  const most = Math.max(...dwell.flat(), 1);
  const some = (/** @type {number[]} */ all, /** @type {(n: number) => boolean} */ keep) => {
    const kept = all.filter(keep);
    return kept.length ? all.slice(all.indexOf(kept[0]), all.indexOf(kept[kept.length - 1]) + 1) : all;
  };
  const shownRows = some(rows, (r) => columns.some((c) => seen(r, c) || asked(r, c)));
  const shownColumns = some(columns, (c) => rows.some((r) => seen(r, c) || asked(r, c)));
  const cell = (/** @type {number} */ r, /** @type {number} */ c) => {
    const s = dwell[r][c];
    const want = asked(r, c);
    const td = h("td", { class: [want ? "wanted" : "", seen(r, c) ? "seen" : ""].join(" ").trim() || null },
      seen(r, c) ? h("b", {}, decimal(s, s < 10 ? 1 : 0)) : want ? mark("todo", t("coverage.cell_empty")) : "", want && seen(r, c) ? h("span", { class: "heard" }, t("coverage.cell_wanted")) : null);
    place(td, { "--part": seen(r, c) ? Math.max(0.06, Math.sqrt(s / most)) : 0 });
    return td;
  };
  const name = t("coverage.table", { x: x.name, y: y.name });
  return scrolled(name, h("table", { class: "cells" }, h("caption", { class: "heard" }, name),
    h("thead", {}, h("tr", {}, h("th", { scope: "col" }, y.unit || y.name), ...shownColumns.map((c) => h("th", { scope: "col" }, decimal(x.edges[c])))),),
    h("tbody", {}, ...shownRows.map((r) => h("tr", {}, h("th", { scope: "row" }, decimal(y.edges[r])), ...shownColumns.map((c) => cell(r, c))))),
    h("tfoot", {}, h("tr", {}, h("td", { colspan: shownColumns.length + 1 }, t("coverage.axes", { x: x.name, x_unit: x.unit, y: y.name, y_unit: y.unit }))))));
}

/** What the shapes mean. */
function key() {
  return h("ul", { class: "key" }, h("li", {}, h("i", { class: "seen" }), t("coverage.key_seen")), h("li", {}, h("i", { class: "wanted seen" }), t("coverage.key_wanted")), h("li", {}, mark("todo"), t("coverage.key_empty")));
}
