// Where the page begins: nothing asked for yet, the one recipe, or a choice of recipes.

import { get, post, seg } from "../api.js";
import { when } from "../dates.js";
import { h } from "../dom.js";
import { listDrives, Reader } from "../kept.js";
import { attempt, crumb, link, title } from "../parts/page.js";
import { lane } from "../parts/portrait.js";
import { mark } from "../parts/signs.js";
import { known } from "../store.js";
import { needWords, t } from "../words.js";

/** @typedef {import("../main.js").Way} Way */

/** @param {Way} way */
export async function start(way) {
  const { recipes } = await get("recipes");
  if (known.joins) await needWords("joining.page");
  // On the laptop phones are joined from here; on a phone it is the way to its own language, light and sound.
  const join = { back: known.joins ? h("a", { href: "#/join" }, t("join.link")) : h("a", { href: "#/sound" }, t("notes.sound")) };
  const [own, bundled] = [recipes.filter((/** @type {any} */ one) => !one.bundled), recipes.filter((/** @type {any} */ one) => one.bundled)];
  const acts = h("div", { class: "acts" });
  acts.append(fileButton(acts, !own.length, way));
  const going = known.live && !["none", "ended"].includes(known.live.drive.phase);
  const drives = going ? h("a", { href: "#/drive" }, t("start.driving")) : h("a", { href: "#/drives" }, t("drives.title"));
  const desk = known.laptop ? [link(t("start.desk"), "#/desk", false)] : [];
  if (!own.length) {
    if (bundled.length) acts.append(link(t("start.recorded"), `#/recipe?sha=${seg(bundled[0].sha256)}`, false));
    acts.append(...desk);
    return h("main", { class: "page" }, crumb({ ...join, here: drives }), h("div", { class: "grow" }),
      h("div", { class: "portrait wide" }, lane({ kind: "hold" })), title(t("start.empty")), h("p", { class: "under" }, t("start.empty_text")), h("div", { class: "grow" }), acts);
  }
  acts.append(...desk);
  const items = [...own, ...bundled].map((/** @type {any} */ one) => h("li", {}, h("a", { class: "item drawn", href: `#/recipe?sha=${seg(one.sha256)}` },
    h("div", { class: "portrait" }, lane({ kind: "hold" })),
    h("div", {}, h("h2", {}, one.title), h("p", {}, t(one.bundled ? "start.bundled" : "recipe.revision", { n: one.revision }))))));
  return h("main", { class: "page" }, crumb({ ...join, here: drives }), title(t("start.choose")), h("ul", { class: "list" }, ...items), h("div", { class: "grow" }), acts);
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
    const kept = await post("recipes", text, { "x-file-name": file.name.replace(/[^\x20-\x7e]/g, "_") });
    way.go(`#/recipe?sha=${seg(kept.sha256)}`);
  }
  return h("label", { class: `act wide${main ? " main" : ""}` }, input, t("start.file"));
}

/** Every drive kept, newest first. */
export async function drives() {
  const reader = new Reader();
  const list = await listDrives(reader);
  const items = list.map(driveItem);
  return h("main", { class: "page", "data-kept-at": reader.at }, crumb({ to: "#/", back: t("start.back") }), title(t("drives.title")),
    list.length ? h("ul", { class: "list" }, ...items) : h("p", { class: "under" }, t("drives.none")),
    h("div", { class: "grow" }), h("div", { class: "acts" }, link(t("drives.bundle"), "#/bundle", false)));
}

/** A drive in a list. @param {any} one the drive as the server lists it */
export function driveItem(one) {
  const shape = one.qualified >= one.asked ? "secured" : one.qualified ? "running" : "todo";
  return h("li", {}, h("a", { class: "item", href: `#/after?drive=${seg(one.id)}` }, h("div", { class: "marks" }, mark(shape)),
    h("div", {}, h("h2", {}, one.title), h("p", {}, t("drives.item", { when: when(one.started_at), minutes: Math.max(1, Math.round(one.duration_s / 60)), n: one.qualified, of: one.asked })))));
}
