// What people write on a drive: its name, a note, the weather; and what takes it away for good.

import { get, post, reach, read, seg } from "../api.js";
import { h, say } from "../dom.js";
import { typed } from "../parts/ask.js";
import { attempt, button, crumb, title } from "../parts/page.js";
import { needWords, t } from "../words.js";

const WEATHER = [["pressure_kpa", 45, 110, "kPa"], ["temperature_c", -50, 60, "°C"], ["humidity_pct", 0, 100, "%"]];

/** @param {import("../main.js").Way} way */
export async function label(way) {
  const id = way.params.get("drive") ?? "";
  const path = `drives/${seg(id)}/label`;
  const [made] = await Promise.all([get(path), way.style("css/review.css"), needWords("reviewpage")]);
  const name = typed(t("label.name"), { type: "text", value: made.name, maxlength: 120 });
  const note = h("textarea", { rows: 4, maxlength: 4000 });
  note.value = made.note;
  const air = WEATHER.map(([key, min, max, unit]) => ({ key: String(key), ...typed(t(`label.${key}`), { type: "number", min, max, step: "any", inputmode: "decimal", value: made.weather[key] ?? "" }, String(unit), key === "pressure_kpa" ? t("label.pressure_why") : "") }));
  const said = h("p", { class: "mini", role: "status" });
  const acts = h("div", { class: "acts" }, button(t("label.save"), () => {
    say(said, "");
    const weather = Object.fromEntries(air.map(({ key, input }) => [key, input.value === "" ? null : Number(input.value)]));
    attempt(acts, async () => {
      await post(path, { name: name.input.value, note: note.value, weather });
      say(said, t("label.saved"));
    });
  }), said);
  const sure = h("div", { class: "acts small" });
  const first = button(t("label.remove"), () => sure.replaceChildren(h("p", { class: "under", role: "alert" }, t("label.sure")), second, button(t("label.keep"), () => sure.replaceChildren(first), "")), "");
  const second = button(t("label.really"), () => attempt(sure, async () => {
    await read(await reach(`api/drives/${seg(id)}`, { method: "DELETE" }));
    way.go("#/drives");
  }));
  sure.append(first);
  return h("main", { class: "page review" }, crumb({ to: `#/after?drive=${seg(id)}`, back: t("look.back") }), title(t("label.title")), h("p", { class: "under" }, t("label.under")),
    h("section", { class: "group" }, name.container, h("label", { class: "ask tall" }, h("span", {}, t("label.note")), note)),
    h("section", { class: "group" }, h("h2", {}, t("label.air")), h("p", { class: "mini" }, t("label.air_why")), ...air.map(({ container }) => container)),
    h("section", { class: "group remove" }, h("h2", {}, t("label.away")), h("p", { class: "mini" }, t("label.away_why")), sure),
    h("div", { class: "grow" }), acts);
}
