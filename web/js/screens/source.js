// What is driven with: a recorded drive or the simulator; how fast a recording is played.

import { get, seg } from "../api.js";
import { h } from "../dom.js";
import { crumb, title } from "../parts/page.js";
import { mark } from "../parts/signs.js";
import { t } from "../words.js";

const SPEEDS = [1, 4, 8];

/** @param {import("../main.js").Way} way */
export async function source(way) {
  const recipe = way.params.get("recipe") ?? "";
  const list = (await get("sources")).sources;
  let speed = 1;
  const links = list.map((/** @type {any} */ one) => {
    const anchor = h("a", { class: "item" },
      h("div", { class: "marks" }, mark(one.kind === "simulator" ? "driver" : "play")),
      h("div", {}, h("h2", {}, one.title), one.text ? h("p", {}, one.text) : null));
    return { anchor, id: one.id };
  });
  const aim = () => links.forEach((/** @type {any} */ { anchor, id }) => (anchor.href = `#/ready?recipe=${seg(recipe)}&source=${seg(id)}&speed=${speed}`));
  aim();
  const choose = (/** @type {number} */ value) => {
    speed = value;
    aim();
  };
  return h("main", { class: "page" }, crumb({ to: `#/recipe?sha=${seg(recipe)}`, back: t("recipe.back") }), title(t("source.title")),
    h("fieldset", { class: "pickone" }, h("legend", {}, t("source.speed")), h("div", {}, ...SPEEDS.map((value) =>
      h("label", {}, h("input", { type: "radio", name: "speed", value, checked: value === speed, onchange: () => choose(value) }), t("source.times", { n: value }))))),
    h("ul", { class: "list" }, ...links.map((/** @type {any} */ { anchor }) => h("li", {}, anchor))));
}
