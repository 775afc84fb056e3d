// The screen in place of one that cannot be drawn: what is kept on this phone where the laptop is gone, else why not.

import { Refused } from "../api.js";
import { h } from "../dom.js";
import { problem } from "../parts/page.js";
import { needWords, t } from "../words.js";
import { offline } from "./offline.js";

/**
 * @param {unknown} error
 * @param {import("../main.js").Way} way
 */
export async function failed(error, way) {
  await Promise.all([way.style("css/pages.css"), needWords("parked")].map((each) => each.catch(() => undefined)));
  if (error instanceof Refused && error.code === "unreachable") {
    const drawn = await offline(way).catch(() => null);
    if (drawn) return drawn;
  }
  return h("main", { class: "page" }, h("h1", { class: "title", tabindex: -1 }, t("page.failed")), problem(error instanceof Refused ? error : new Refused("page", String(error))),
    h("div", { class: "grow" }), h("div", { class: "acts" }, h("a", { class: "act main wide", href: "#/" }, t("page.home"))));
}
