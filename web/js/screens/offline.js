// The laptop is not in reach and nothing of what was asked for is kept here: says so, and offers what is.

import { h } from "../dom.js";
import { lost } from "../live.js";
import { button, crumb, title } from "../parts/page.js";
import { keptDrives } from "../kept.js";
import { mayGo } from "../keeping.js";
import { follow } from "../store.js";
import { needWords, t } from "../words.js";
import { driveItem } from "./start.js";

/** @param {import("../main.js").Way} way */
export async function offline(way) {
  const [drives, risk] = await Promise.all([keptDrives(), mayGo(), needWords("offline")]);
  lost();
  // Back in reach, the screen that was asked for is drawn after all.
  way.leave(follow(({ phone }) => !phone.lost && way.current() && way.go(location.hash)));
  return h("main", { class: "page", "data-offline": true }, crumb({ here: h("a", { href: "#/" }, t("start.back")) }), title(t("reach.title")), h("p", { class: "under" }, t("reach.text")),
    drives.length ? h("h2", { class: "under" }, t("reach.drives")) : h("p", { class: "under" }, t("reach.none")),
    h("ul", { class: "list" }, ...drives.map(({ row }) => driveItem(row))), risk ? h("p", { class: "mini" }, t("reach.may_go")) : null, h("div", { class: "grow" }),
    h("div", { class: "acts" }, button(t("reach.again"), () => way.go(location.hash))));
}
