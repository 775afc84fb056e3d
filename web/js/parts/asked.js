// What a recipe asks for: one sentence and one portrait a capture, and where it is made.

import { h } from "../dom.js";
import { t } from "../words.js";
import { portrait } from "./portrait.js";
import { mark, PLACE_MARKS } from "./signs.js";

/**
 * @param {import("../types.js").RecipeView} asked
 * @param {(id: string) => string} [need] what more is to be said of a capture
 */
export function list(asked, need = () => "") {
  return h("ol", { class: "list" }, ...asked.captures.map((capture) => h("li", { class: "item drawn" },
    portrait(Array.from({ length: Math.max(1, capture.times ?? 1) }, () => capture)),
    h("div", {}, h("h2", {}, capture.title), h("p", {}, capture.sentence), need(capture.id) ? h("p", {}, need(capture.id)) : null,
      h("p", { class: "place" }, mark(PLACE_MARKS[capture.place] ?? "road"), t(`place.${capture.place}`))))));
}
