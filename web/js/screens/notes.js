// Before you set off: the notes that this recipe's places need, agreed to once and kept with the drive.

import { get, post, seg } from "../api.js";
import { h } from "../dom.js";
import { attempt, button, crumb, title } from "../parts/page.js";
import { mark } from "../parts/signs.js";
import { t } from "../words.js";

/** Each note's sign, and the places that call for it; none listed: always. @type {Record<string, [string, string[]]>} */
export const NOTES = {
  law: ["law", ["road"]],
  closed_course: ["closed", ["closed course"]],
  open_air: ["air", ["parked"]],
  warning_lamp: ["lamp", []],
  driver_drives: ["passenger", ["road", "closed course"]],
};

/** @param {import("../main.js").Way} way */
export async function notes(way) {
  const params = way.params;
  const sha = params.get("recipe") ?? "";
  const role = params.get("role") ?? "";
  /** @type {import("../types.js").RecipeView} */
  const asked = await get(`recipes/${seg(sha)}`);
  const places = new Set(asked.captures.map((capture) => capture.place));
  const codes = Object.keys(NOTES).filter((code) => !NOTES[code][1].length || NOTES[code][1].some((place) => places.has(place)));
  const acts = h("div", { class: "acts" }, button(t("notes.agree"), () => attempt(acts, begin)));
  async function begin() {
    const drive = await post("drives", { recipe: sha, source: params.get("source"), speed: Number(params.get("speed") ?? 1), role, acknowledged: codes });
    way.go(`#/drive?id=${seg(drive.id)}`);
  }
  return h("main", { class: "page" }, crumb({ to: `#/who?${params}`, back: t("notes.back"), here: t("page.step", { n: 3, of: 3 }) }), title(t("notes.title")),
    h("ul", { class: "rules" }, ...codes.map((code) => h("li", {}, mark(NOTES[code][0]), h("div", {}, h("b", {}, t(`notes.${code}`)), h("p", {}, t(`notes.${code}_text`)))))),
    h("div", { class: "grow" }), h("p", { class: "mini" }, t("notes.kept")), acts);
}
