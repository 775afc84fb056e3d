// The pedal's travel, taught once: parked, engine off, ignition on; released and floored, twice each.

import { get, post, seg } from "../api.js";
import { h, say } from "../dom.js";
import { attempt, button, crumb, link, title } from "../parts/page.js";
import { mark } from "../parts/signs.js";
import { decimal, needWords, t } from "../words.js";

const STEPS = ["released", "floored", "released", "floored"];

/** @param {import("../main.js").Way} way */
export async function pedal(way) {
  const source = seg(way.params.get("source") ?? "");
  const back = `#/facts?${way.params}`;
  const [kept] = await Promise.all([get(`cars/${source}`), needWords("settings.page"), way.style("css/settings.css")]);
  /** @type {number[]} */
  const readings = [];
  const line = h("p", { class: "words", role: "status" });
  const list = h("ol", { class: "list" });
  const acts = h("div", { class: "acts" });
  const show = () => {
    const done = readings.length === STEPS.length;
    say(line, done ? t("pedal.done") : t(`pedal.${STEPS[readings.length]}`));
    list.replaceChildren(...STEPS.map((step, n) => h("li", { class: "item" }, h("div", { class: "marks" }, mark(n < readings.length ? "secured" : n === readings.length ? "running" : "todo")),
      h("div", {}, h("h2", {}, t(`pedal.step_${step}`)), h("p", {}, n < readings.length ? t("pedal.read", { n: decimal(readings[n], 1) }) : "")))));
    acts.replaceChildren(done ? link(t("pedal.back"), back) : button(t("pedal.now"), () => attempt(acts, read), "main tall"));
  };
  async function read() {
    say(line, t("pedal.reading"));
    try {
      const { reading } = await post(`cars/${source}/pedal/step`, { step: STEPS[readings.length] });
      readings.push(reading);
      if (readings.length === STEPS.length) await post(`cars/${source}/pedal`, { readings });
    } catch (error) {
      // Two readings of one end that differ: all four are made again.
      if (readings.length === STEPS.length) readings.length = 0;
      throw error;
    } finally {
      show();
    }
  }
  show();
  return h("main", { class: "page" }, crumb({ to: back, back: t("pedal.crumb") }), title(t("pedal.title")),
    h("p", { class: "under" }, t(kept.pedal ? "pedal.again" : "pedal.text")), line, list, h("div", { class: "grow" }), acts);
}
