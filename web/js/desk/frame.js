// What the screens of the desk share: the head with the way back, the title and what can be done, and the panes below.

import { h } from "../dom.js";
import { mark } from "../parts/signs.js";

/**
 * @param {{to: string, back: string, title: string | Node, small?: string, acts?: (Node | null)[]}} head
 * @param {...(Node | null)} panes
 */
export function frame({ to, back, title, small = "", acts = [] }, ...panes) {
  return h("main", { class: "desk" },
    h("header", {}, h("a", { class: "to", href: to, "aria-label": back }, mark("back")),
      h("div", { class: "named" }, title instanceof Node ? title : h("h1", { tabindex: -1 }, title), h("small", {}, small)), h("div", { class: "doing" }, ...acts)),
    ...panes);
}

/**
 * @param {string} text
 * @param {() => unknown} act
 * @param {boolean} [main]
 */
export function verb(text, act, main = false) {
  return h("button", { class: `act${main ? " main" : ""}`, type: "button", onclick: act }, text);
}

/**
 * @param {string} text
 * @param {string} href
 * @param {boolean} [main]
 */
export function verbTo(text, href, main = false) {
  return h("a", { class: `act${main ? " main" : ""}`, href }, text);
}

export { when } from "../dates.js";

const DAY_MS = 86_400_000;

/** How long ago, in days: today, yesterday, 3 days ago. @param {string} iso */
export function day(iso) {
  const midnight = (/** @type {Date} */ at) => new Date(at.getFullYear(), at.getMonth(), at.getDate()).getTime();
  const days = Math.round((midnight(new Date(iso)) - midnight(new Date())) / DAY_MS);
  return new Intl.RelativeTimeFormat(document.documentElement.lang, { numeric: "auto" }).format(Math.min(0, days), "day");
}
