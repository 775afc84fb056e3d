// Road speed over engine speed by gear, with the captures drawn in: fetched when it is opened, drawn by the server.

import { reach } from "../api.js";
import { h } from "../dom.js";
import { unitsHeader } from "../units.js";
import { t } from "../words.js";

/** @param {{recipe: string, source: string}} query */
export function speeds(query) {
  const room = h("div", { class: "speeds" });
  const whole = h("details", { class: "told" }, h("summary", {}, t("speeds.show")), room);
  whole.addEventListener("toggle", async () => {
    if (!whole.open || room.childElementCount) return;
    const headers = { ...unitsHeader(), "accept-language": document.documentElement.lang };
    const answer = await reach(`api/plan.svg?${new URLSearchParams(query)}`, { cache: "no-store", headers }).catch(() => null);
    const text = answer?.ok ? await answer.text() : "";
    const picture = new DOMParser().parseFromString(text || "<svg/>", "image/svg+xml").documentElement;
    room.replaceChildren(text && picture.tagName === "svg" ? document.importNode(picture, true) : h("p", {}, t("speeds.none")));
  });
  return whole;
}
