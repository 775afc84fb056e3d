// About the car: what a person declares of it. Asked once, confirmed for each revision, kept with every drive.

import { get, post, seg } from "../api.js";
import { h } from "../dom.js";
import { attempt, button, crumb, link, title } from "../parts/page.js";
import { decimal, has, needWords, t } from "../words.js";

/** @param {import("../main.js").Way} way */
export async function facts(way) {
  const source = seg(way.params.get("source") ?? "");
  const [car] = await Promise.all([get(`cars/${source}`), needWords("settings.page"), needWords("facts"), way.style("css/settings.css")]);
  const rest = new URLSearchParams(way.params);
  rest.set("asked", "1");
  const fields = car.asked.map((/** @type {any} */ fact) => field(fact, car.facts[fact.name] ?? ""));
  const acts = h("div", { class: "acts" }, button(t("facts.so"), () => attempt(acts, keep)), link(t("facts.later"), `#/who?${rest}`, false));
  async function keep() {
    const given = Object.fromEntries(fields.map((/** @type {any} */ { input }) => [input.name, input.value.trim()]));
    await post(`cars/${source}/facts`, { facts: given });
    rest.set("confirmed", "1");
    way.go(`#/who?${rest}`);
  }
  const taught = car.pedal ? t("facts.pedal_known", { released: decimal(car.pedal.released, 0), floored: decimal(car.pedal.floored, 0) }) : t("facts.pedal_not");
  return h("main", { class: "page" }, crumb({ to: `#/ready?${way.params}`, back: t("who.back") }), title(t("facts.title")), h("p", { class: "under" }, t("facts.text")),
    h("div", { class: "fields" }, ...fields.map((/** @type {any} */ { row }) => row)),
    h("p", { class: "mini" }, taught, " ", h("a", { class: "go", href: `#/pedal?${way.params}` }, t("facts.pedal_teach"))), h("div", { class: "grow" }), acts);
}

/**
 * One fact: its name, what exactly is meant, and where it is typed or chosen.
 * @param {{name: string, kind: string, unit: string, low: number, high: number, choices: string[]}} fact
 * @param {string} value
 */
function field(fact, value) {
  const id = `fact-${fact.name}`;
  const shared = { id, name: fact.name, "aria-describedby": `${id}-ask` };
  const input = fact.kind === "choice"
    ? h("select", shared, h("option", { value: "" }, t("facts.not_said")), ...fact.choices.map((one) => h("option", { value: one, selected: one === value }, t(`${fact.name}.${one}`))))
    : h("input", { ...shared, value, type: "text", autocomplete: "off", maxlength: 200, inputmode: fact.kind === "number" ? "decimal" : "text" });
  const unit = has(`${fact.name}.unit`) ? t(`${fact.name}.unit`) : "";
  const row = h("div", { class: "field" }, h("label", { for: id }, t(`${fact.name}.name`), h("small", { id: `${id}-ask` }, t(`${fact.name}.ask`))), h("span", { class: "with" }, input, unit ? h("span", { class: "unit" }, unit) : null));
  return { row, input };
}
