// Recipe: what is asked, one sentence and one portrait a capture, and where it is made.

import { get, seg } from "../api.js";
import { h } from "../dom.js";
import { crumb, link, title } from "../parts/page.js";
import { mark, PLACE_MARKS } from "../parts/signs.js";
import { portrait } from "../parts/portrait.js";
import { t } from "../words.js";

/** @param {import("../main.js").Way} way */
export async function recipe(way) {
  const sha = way.params.get("sha") ?? "";
  /** @type {import("../types.js").RecipeView} */
  const asked = await get(`recipes/${seg(sha)}`);
  const source = way.params.get("source") ?? "";
  const next = source ? `#/ready?recipe=${seg(sha)}&source=${seg(source)}` : `#/source?recipe=${seg(sha)}`;
  const items = asked.captures.map((capture) => h("li", { class: "item drawn" },
    portrait(Array.from({ length: Math.max(1, capture.times ?? 1) }, () => capture)),
    h("div", {}, h("h2", {}, capture.title), h("p", {}, capture.sentence),
      h("p", { class: "place" }, mark(PLACE_MARKS[capture.place] ?? "road"), t(`place.${capture.place}`)))));
  const warnings = (asked.findings ?? []).map((finding) => h("li", { class: "item" },
    h("div", { class: "marks" }, mark(finding.level === "error" ? "cross" : "mind", t(finding.level === "error" ? "mark.bad" : "mark.warn"), finding.level === "error" ? "no" : "hm")),
    h("div", {}, h("p", {}, finding.message))));
  return h("main", { class: "page" },
    crumb({ to: "#/", back: t("start.back"), here: t("recipe.revision", { n: asked.revision }) }),
    title(asked.title), asked.note ? h("p", { class: "under" }, asked.note) : null,
    h("ol", { class: "list" }, ...items), warnings.length ? h("ul", {}, ...warnings) : null, h("div", { class: "grow" }),
    asked.minutes ? h("p", { class: "mini" }, t("recipe.minutes", { n: asked.minutes })) : null,
    h("div", { class: "acts" }, link(t("recipe.next"), next)));
}
