// Who holds the phone: never a driver who is moving. Nothing is chosen beforehand.

import { get, seg } from "../api.js";
import { h } from "../dom.js";
import { crumb, title } from "../parts/page.js";
import { mark } from "../parts/signs.js";
import { t } from "../words.js";

/** @param {import("../main.js").Way} way */
export async function who(way) {
  const rest = new URLSearchParams(way.params);
  const source = rest.get("source") ?? "";
  // A real car: what people know of it is asked once, and confirmed for each revision.
  if (source.startsWith("link:") && !rest.has("asked") && !rest.has("confirmed")) {
    const car = await get(`cars/${seg(source)}`).catch(() => null);
    if (car && car.confirmed !== rest.get("recipe")) {
      way.go(`#/facts?${rest}`);
      return h("main", { class: "page" });
    }
    if (car) rest.set("confirmed", "1");
  }
  const next = h("a", { class: "act main wide", "aria-disabled": "true", role: "link" }, t("who.next"));
  /** @type {HTMLButtonElement[]} */
  const cards = ["passenger", "driver"].map((role) => h("button", { class: "choice", type: "button", "aria-pressed": "false", onclick: () => choose(role) },
    mark(role), h("b", {}, t(`who.${role}`)), h("span", {}, t(`who.${role}_text`))));
  function choose(/** @type {string} */ role) {
    cards.forEach((card, n) => card.setAttribute("aria-pressed", String(role === ["passenger", "driver"][n])));
    rest.set("role", role);
    next.setAttribute("href", `#/notes?${rest}`);
    next.removeAttribute("aria-disabled");
  }
  const back = `#/ready?recipe=${seg(rest.get("recipe") ?? "")}&source=${seg(rest.get("source") ?? "")}&speed=${seg(rest.get("speed") ?? "1")}`;
  return h("main", { class: "page" }, crumb({ to: back, back: t("who.back"), here: t("page.step", { n: 2, of: 3 }) }), title(t("who.title")), h("p", { class: "under" }, t("who.text")),
    h("div", { class: "pick", role: "group", "aria-label": t("who.title") }, ...cards), h("div", { class: "grow" }),
    h("p", { class: "mini" }, t("notes.law_first")), h("div", { class: "acts" }, next));
}
