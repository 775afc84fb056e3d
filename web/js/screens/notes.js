// Before you set off: the notes that this recipe's places need, agreed to once and kept with the drive. The tap that
// agrees is the one that lets sound out.

import { get, post, seg } from "../api.js";
import { h } from "../dom.js";
import { attempt, button, crumb, title } from "../parts/page.js";
import { mark } from "../parts/signs.js";
import { start as startSound } from "../sound.js";
import { unitsChosen } from "../units.js";
import { stayOn } from "../wake.js";
import { t } from "../words.js";

/** Each note's sign. @type {Record<string, string>} */
const SIGNS = { law: "law", closed_course: "closed", open_air: "air", warning_lamp: "lamp", driver_drives: "passenger" };

/** @param {import("../main.js").Way} way */
export async function notes(way) {
  const params = way.params;
  const sha = params.get("recipe") ?? "";
  const role = params.get("role") ?? "";
  /** @type {import("../types.js").RecipeView} */
  const asked = await get(`recipes/${seg(sha)}`);
  const codes = asked.notes ?? Object.keys(SIGNS);
  const acts = h("div", { class: "acts" }, button(t("notes.agree"), () => {
    // In the tap itself: a browser lets no sound out later.
    startSound(t("notes.hear"));
    stayOn();
    return attempt(acts, begin);
  }));
  async function begin() {
    const units = unitsChosen();
    const drive = await post("drives", {
      recipe: sha, source: params.get("source"), speed: Number(params.get("speed") ?? 1), role, acknowledged: codes,
      ...(params.get("confirmed") ? { confirmed: true } : {}), ...inCar(params), ...(units ? { units } : {}),
    });
    way.go(`#/drive?id=${seg(drive.id)}`);
  }
  return h("main", { class: "page" }, crumb({ to: `#/who?${params}`, back: t("notes.back"), here: t("page.step", { n: 3, of: 3 }) }), title(t("notes.title")),
    h("ul", { class: "rules" }, ...codes.map((code) => h("li", {}, mark(SIGNS[code] ?? "mind"), h("div", {}, h("b", {}, t(`notes.${code}`)), h("p", {}, t(`notes.${code}_text`)))))),
    h("div", { class: "grow" }), h("p", { class: "mini" }, h("a", { class: "go", href: `#/sound?back=${encodeURIComponent(`#/notes?${params}`)}` }, t("notes.sound"))), h("p", { class: "mini" }, t("notes.kept")), acts);
}

/** What a person said is in the car, where one did. @param {URLSearchParams} params */
function inCar(params) {
  const revision = params.get("flashed");
  return revision === null ? {} : { flashed: { revision: Number(revision), date: params.get("day") } };
}
