// The dial: the passenger types what it shows, once, at a steady speed. One number, large steps, no keyboard.

import { act } from "../api.js";
import { h, say } from "../dom.js";
import { giveWay } from "../parts/back_to_drive.js";
import { attempt, button, crumb, title } from "../parts/page.js";
import { known } from "../store.js";
import { unitsChosen } from "../units.js";
import { needWords, t } from "../words.js";

const STEPS = [-10, -1, 1, 10];
/** Where the car's speed is not on the screen, it begins here. */
const BEGIN = 80;

/** @param {import("../main.js").Way} way */
export async function dial(way) {
  await Promise.all([needWords("settings.page"), way.style("css/settings.css")]);
  giveWay(way);
  const lead = known.live?.lead;
  const shown = [lead?.lane, ...(lead?.rows ?? [])].find((one) => one?.signal === "road_speed");
  const unit = shown?.unit || unitsChosen()?.speed || "km/h";
  let value = Math.round(Number(shown?.value)) || BEGIN;
  const figure = h("output", { class: "number", "aria-live": "polite" }, String(value));
  const step = (/** @type {number} */ by) => {
    value = Math.min(400, Math.max(1, value + by));
    say(figure, String(value));
  };
  const steps = h("div", { class: "steps" }, ...STEPS.map((by) =>
    h("button", { class: "act", type: "button", "aria-label": t(by < 0 ? "dial.less" : "dial.more", { n: Math.abs(by) }), onclick: () => step(by) }, by < 0 ? `−${-by}` : `+${by}`)));
  const acts = h("div", { class: "acts" }, button(t("dial.keep"), () => attempt(acts, keep), "main tall"));
  async function keep() {
    await act("dial", { shows: value, unit });
    way.go("#/drive");
  }
  return h("main", { class: "page dial" }, crumb({ to: "#/drive", back: t("sound.back_drive") }), title(t("dial.title")), h("p", { class: "under" }, t("dial.text")),
    h("div", { class: "reads" }, figure, h("span", { class: "under" }, unit)), steps, h("div", { class: "grow" }), acts);
}
