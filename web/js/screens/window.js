// A window, opened: the proof. Verdict, strip, each signal on shared time or over engine speed, tables, the file.

import { get, seg } from "../api.js";
import { h } from "../dom.js";
import { Reader } from "../kept.js";
import { handing } from "../parts/handing.js";
import { crumb, link, title } from "../parts/page.js";
import { pick } from "../parts/pick.js";
import { mark } from "../parts/signs.js";
import { wholeDrive } from "../parts/whole_drive.js";
import { canShare, tableFile } from "../share.js";
import { figure, needWords, t, upper } from "../words.js";
import { length, verdictLine, why } from "./after.js";

const COLUMNS = ["mean", "least", "most", "rate", "gap"];

/** @param {import("../main.js").Way} way */
export async function window(way) {
  const { params } = way;
  const [drive, capture, number] = [params.get("drive") ?? "", params.get("capture") ?? "", Number(params.get("number") ?? 0)];
  const path = `drives/${seg(drive)}/windows/${seg(capture)}/${number}`;
  const reader = new Reader();
  /** @type {[import("../types.js").Verdict, any, void, void, void]} */
  const [verdict, data] = await Promise.all([reader.get(`drives/${seg(drive)}/attempts`), reader.get(path), way.style("css/review.css"), needWords("offline"), needWords("reviewpage")]);
  const one = verdict.captures.find(({ id }) => id === capture);
  const attempt = one?.attempts.find((each) => each.number === number);
  const shape = attempt?.outcome ?? "todo";
  const kind = one?.kind ?? "hold";
  const heading = attempt ? t(attempt.secured_s === null ? "window.came" : kind === "sweep" ? "window.pulled" : "window.held", { length: length(attempt, kind) }) : (one?.title ?? capture);
  const here = `drive=${seg(drive)}&capture=${seg(capture)}&number=${number}`;
  const plots = h("div", { class: "traces" });
  const files = async () => [tableFile(await reader.file(`${path}.csv`), capture, number)];
  // With the laptop gone the link would lead nowhere: the table then comes from this phone.
  const away = reader.at !== null;
  const csv = away ? null : h("a", { class: "act wide", href: `api/${path}.csv`, download: `${capture}-${number + 1}.csv` }, t("window.csv"));
  const sends = !away && attempt?.secured_s !== null;
  const hand = away || canShare() ? handing({ files, name: capture, main: away, one: true }) : null;
  const across = kind === "sweep" && !away ? pick("across", t("look.across"), [["time", t("look.over_time")], ["over", t("look.over_speed")]], "time", (value) => draw(plots, data, way, attempt, value)) : null;
  const further = away ? null : h("ul", { class: "further" },
    h("li", {}, h("a", { href: `#/figures?${here}` }, mark("on"), t("look.figures"))),
    kind === "sweep" ? h("li", {}, h("a", { href: `#/power?${here}` }, mark("on"), t("look.power"))) : null);
  const page = h("main", { class: "page review", "data-kept-at": reader.at },
    crumb({ to: `#/after?drive=${seg(drive)}`, back: verdictLine(verdict), here: t("recipe.revision", { n: verdict.recipe.revision }) }),
    h("div", { class: "verdict" }, mark(shape, t(`outcome.${shape}`), shape === "secured" ? "ok" : shape === "stopped" ? "no" : ""), title(heading),
      h("p", { class: "under" }, [`${one?.title ?? capture}.`, `${upper(t(`outcome.${shape}`))}.`, attempt ? why(attempt) : ""].filter(Boolean).join(" "))),
    wholeDrive(drive, verdict, { capture, number }), across, plots, further, table(data.signals), h("div", { class: "grow" }),
    h("div", { class: "acts" }, !sends ? null : link(t("look.send"), `#/send?${here}`), csv, hand, sends ? h("p", { class: "mini" }, t("look.send_text")) : null));
  draw(plots, data, way, attempt, "time");
  return page;
}

/**
 * @param {HTMLElement} plots
 * @param {any} data
 * @param {import("../main.js").Way} way
 * @param {import("../types.js").Attempt | undefined} attempt
 * @param {string} across
 */
async function draw(plots, data, way, attempt, across) {
  try {
    const { Plots } = await import("../parts/plots.js");
    const shown = await Plots.load(way);
    if (!way.current()) return;
    const { overTime, overSpeed } = await import("../parts/proof.js");
    const ask = (/** @type {string} */ part, /** @type {Record<string, any>} */ query) => get(`drives/${seg(data.drive)}/${part}`, query);
    if (across === "over") await overSpeed(shown, plots, data, ask);
    else overTime(shown, plots, data, attempt, ask);
  } catch {
    plots.replaceChildren(h("p", { class: "under no-plots" }, t("window.no_plots")));
  }
}

/**
 * Each signal in figures, over the window itself.
 * @param {any[]} signals
 */
function table(signals) {
  const rows = signals.map((signal) => {
    const cells = [signal.mean, signal.least, signal.most, signal.rate_hz === null ? null : Math.round(signal.rate_hz * 10) / 10, signal.max_gap_s];
    const units = [signal.unit, signal.unit, signal.unit, t("window.a_second"), "s"];
    return h("tr", {}, h("th", { scope: "row" }, signal.name), ...cells.map((cell, n) =>
      h("td", { "data-label": t(`window.${COLUMNS[n]}`) }, cell === null ? "–" : h("span", {}, h("b", {}, figure(cell)), ` ${units[n]}`))));
  });
  return h("table", { class: "fig" }, h("caption", {}, t("window.table")),
    h("thead", {}, h("tr", {}, h("th", { scope: "col" }, t("window.signal")), ...COLUMNS.map((name) => h("th", { scope: "col" }, t(`window.${name}`))))), h("tbody", {}, ...rows));
}
