// Power at the wheels of one pull, estimated: with what it is not known better than, and standards beside it.

import { get, seg } from "../api.js";
import { h } from "../dom.js";
import { typed } from "../parts/ask.js";
import { corrected } from "../parts/corrected.js";
import { attempt, button, crumb, title } from "../parts/page.js";
import { twin } from "../parts/twin.js";
import { needWords, t } from "../words.js";

/** @param {import("../main.js").Way} way */
export async function power(way) {
  const { params } = way;
  const [drive, capture, number] = [params.get("drive") ?? "", params.get("capture") ?? "", Number(params.get("number") ?? 0)];
  const path = `drives/${seg(drive)}/power/${seg(capture)}/${number}`;
  const [made] = await Promise.all([get(path), way.style("css/review.css"), needWords("reviewpage")]);
  const box = h("div", {});
  const heading = title(t("power.title"));
  const mass = typed(t("power.mass"), { type: "number", min: 200, max: 20000, inputmode: "numeric", placeholder: t("power.of_file") }, "kg", t("power.mass_why"));
  const load = typed(t("power.load"), { type: "text", placeholder: t("power.guessed"), pattern: "[0-9.]+,[0-9.]+,[0-9.]+" }, "", t("power.load_why"));
  const acts = h("div", { class: "acts small" }, button(t("power.again"), () => attempt(acts, async () => show(await get(path, { mass_kg: mass.input.value, road_load: load.input.value.replace(/\s/g, "") }))), ""));
  /** @param {any} data */
  function show(data) {
    heading.textContent = data.peak ? t("power.peak", { text: data.peak.text }) : t("power.title");
    const plot = h("div", { class: "traces" });
    box.replaceChildren(...(data.why ? [h("p", { class: "under" }, data.why)] : [plot]), h("p", { class: "mini" }, data.method),
      h("dl", { class: "inputs" }, ...data.inputs.map((/** @type {any} */ one) => h("div", {}, h("dt", {}, one.name), h("dd", {}, one.text))), h("div", {}, h("dt", {}, t("power.air")), h("dd", {}, data.weather.why || data.weather.text))),
      ...(data.corrections.length ? [corrected(data.corrections)] : []), h("p", { class: "mini caveat" }, data.caveat));
    if (!data.why) draw(way, plot, data);
  }
  show(made);
  return h("main", { class: "page review" }, crumb({ to: `#/window?drive=${seg(drive)}&capture=${seg(capture)}&number=${number}`, back: t("look.window"), here: t("power.estimate") }),
    heading, box, h("section", { class: "group" }, h("h2", {}, t("power.with")), mass.container, load.container, acts), h("div", { class: "grow" }));
}

/** @param {import("../main.js").Way} way @param {HTMLElement} box @param {any} data */
async function draw(way, box, data) {
  try {
    const { Plots } = await import("../parts/plots.js");
    const plots = await Plots.load(way);
    if (!way.current()) return;
    const points = [...data.points].sort((a, b) => a.rpm - b.rpm);
    const x = points.map(({ rpm }) => rpm);
    const of = (/** @type {string} */ key) => ({ x, values: points.map((one) => one[key]) });
    const edge = (/** @type {string} */ key) => ({ ...of(key), look: /** @type {const} */ ("edge") });
    const text = (/** @type {number} */ n) => t("look.rpm", { n: Math.round(n), unit: "rpm" });
    plots.begin(box, [x[0], x[x.length - 1]], text);
    plots.add(box, "power", { name: t("power.power"), unit: "kW", asked: t("power.range"), time: false, big: true, series: [edge("high_kw"), edge("low_kw"), of("power_kw")] });
    plots.add(box, "torque", { name: t("power.torque"), unit: "Nm", time: false, series: [of("torque_nm")] });
    const rows = [["power_kw", t("power.power"), "kW"], ["low_kw", t("power.low"), "kW"], ["high_kw", t("power.high"), "kW"], ["torque_nm", t("power.torque"), "Nm"]];
    const table = twin({ across: t("power.speed"), shown: () => plots.view.now, text: (n) => String(Math.round(n)), signals: () => rows.map(([key, name, unit]) => ({ name, unit, ...of(key) })) });
    box.append(table.container);
    plots.view.rest = () => table.redraw();
  } catch {
    box.replaceChildren(h("p", { class: "under no-plots" }, t("window.no_plots")));
  }
}
