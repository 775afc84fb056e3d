// Where the page begins: nothing asked for yet, the one recipe, or a choice of recipes.

import { get, post, seg } from "../api.js";
import { h } from "../dom.js";
import { attempt, crumb, link, title } from "../parts/page.js";
import { lane } from "../parts/portrait.js";
import { mark } from "../parts/signs.js";
import { t } from "../words.js";

/** @typedef {import("../main.js").Way} Way */

/** @param {Way} way */
export async function start(way) {
  const [recipes, sources] = await Promise.all([get("recipes"), get("sources")]);
  const list = recipes.recipes ?? recipes;
  const recorded = (sources.sources ?? sources).find((/** @type {any} */ one) => one.recipe);
  const acts = h("div", { class: "acts" });
  const file = fileButton(acts, !list.length, way);
  const drives = h("a", { href: "#/drives" }, t("drives.title"));
  if (!list.length) {
    acts.append(file, ...(recorded ? [link(t("start.recorded"), `#/recipe?sha=${seg(recorded.recipe)}&source=${seg(recorded.id)}`, false)] : []));
    return h("main", { class: "page" }, crumb({ here: drives }), h("div", { class: "grow" }),
      h("div", { class: "portrait wide" }, lane({ kind: "hold" })), title(t("start.empty")), h("p", { class: "under" }, t("start.empty_text")), h("div", { class: "grow" }), acts);
  }
  acts.append(file);
  const items = list.map((/** @type {any} */ one) => h("li", {}, h("a", { class: "item drawn", href: `#/recipe?sha=${seg(one.sha256)}` },
    h("div", { class: "portrait" }, lane({ kind: "hold" })),
    h("div", {}, h("h2", {}, one.title), h("p", {}, t("recipe.revision", { n: one.revision }))))));
  return h("main", { class: "page" }, crumb({ here: drives }), title(t("start.choose")), h("ul", { class: "list" }, ...items), h("div", { class: "grow" }), acts);
}

/**
 * @param {HTMLElement} acts
 * @param {boolean} main
 * @param {Way} way
 */
function fileButton(acts, main, way) {
  const input = h("input", { type: "file", accept: ".toml,.json,application/toml,application/json", onchange: () => attempt(acts, read) });
  async function read() {
    const file = input.files?.[0];
    if (!file) return;
    const text = await file.text();
    input.value = "";
    const kept = await post("recipes", text);
    way.go(`#/recipe?sha=${seg(kept.sha256 ?? kept.sha)}`);
  }
  return h("label", { class: `act wide${main ? " main" : ""}` }, input, t("start.file"));
}

/** Every drive kept, newest first. */
export async function drives() {
  const answer = await get("drives");
  const list = answer.drives ?? answer;
  const items = list.map((/** @type {any} */ one) => h("li", {}, h("a", { class: "item", href: `#/after?drive=${seg(one.id)}` },
    h("div", { class: "marks" }, mark(one.qualified !== undefined && one.qualified === one.asked ? "secured" : "todo")),
    h("div", {}, h("h2", {}, one.title ?? one.recipe_title ?? one.recipe?.title ?? one.id), h("p", {}, when(one))))));
  return h("main", { class: "page" }, crumb({ to: "#/", back: t("start.back") }), title(t("drives.title")),
    list.length ? h("ul", { class: "list" }, ...items) : h("p", { class: "under" }, t("drives.none")));
}

/** @param {any} drive */
function when(drive) {
  const began = drive.started_at ?? drive.started ?? drive.anchor;
  const date = began ? new Date(typeof began === "number" ? began * 1000 : began) : null;
  const parts = [];
  if (date && !Number.isNaN(date.valueOf())) parts.push(date.toLocaleString(document.documentElement.lang, { dateStyle: "medium", timeStyle: "short" }));
  if (drive.duration_s) parts.push(t("page.minutes", { n: Math.max(1, Math.round(drive.duration_s / 60)) }));
  return parts.join(", ");
}
