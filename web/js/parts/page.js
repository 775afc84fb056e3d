// What parked screens share: the line on top, the title, items, and what to say when something is refused.

import { Refused } from "../api.js";
import { h } from "../dom.js";
import { has, t, upper } from "../words.js";
import { mark } from "./signs.js";

/**
 * The line on top: back to where, and where this is.
 * @param {{to?: string, back?: string | Node, here?: string | Node}} way
 */
export function crumb({ to, back, here = "" }) {
  return h("nav", { class: "crumb", "aria-label": t("page.way") },
    to ? h("a", { href: to }, mark("back"), back) : h("span", {}, back ?? ""), here instanceof Node ? here : h("span", {}, here));
}

/** @param {string} text */
export function title(text) {
  return h("h1", { class: "title", tabindex: -1 }, ...tied(text));
}

/** A short word with a hyphen, such as roll-on, is not torn at the end of a line. @param {string} text */
function tied(text) {
  return text.split(/(?<=\s)/).map((word) => (/^\S{1,12}\s?$/.test(word) && word.includes("-") ? h("span", { class: "tied" }, word) : word));
}

/**
 * @param {string} text
 * @param {string} href
 * @param {boolean} [main]
 */
export function link(text, href, main = true) {
  return h("a", { class: `act wide${main ? " main" : ""}`, href }, text);
}

/**
 * @param {string} text
 * @param {() => void} act
 * @param {string} [classes]
 */
export function button(text, act, classes = "main") {
  return h("button", { class: `act wide ${classes}`, type: "button", onclick: act }, text);
}

/**
 * One entry of a list with a mark.
 * @param {Node} shape
 * @param {string} heading
 * @param {string} text
 */
export function item(shape, heading, text) {
  return h("li", { class: "item" }, h("div", { class: "marks" }, shape), h("div", {}, h("h2", {}, heading), h("p", {}, text)));
}

/**
 * What was refused, in the server's own sentence; without a server, in ours.
 * @param {unknown} error
 */
export function problem(error) {
  if (!(error instanceof Refused)) throw error;
  const sentences = error.all.length ? error.all : [error.message || (has(`refused.${error.code}`) ? t(`refused.${error.code}`) : t("refused.other", { code: error.code }))];
  return h("div", { class: "problem", role: "alert" }, mark("cross"),
    h("div", {}, ...sentences.slice(0, 5).map((one) => h("p", {}, upper(one))), error.where && !error.all.length ? h("small", {}, error.where) : null));
}

/**
 * Runs what a button asks for; shows what was refused above `before`, and lets the button be pressed again.
 * @param {HTMLElement} before
 * @param {() => Promise<unknown>} act
 */
export async function attempt(before, act) {
  const buttons = /** @type {HTMLButtonElement[]} */ ([...before.querySelectorAll("button")]);
  before.parentElement?.querySelector(".problem")?.remove();
  for (const one of buttons) one.disabled = true;
  try {
    await act();
  } catch (error) {
    before.before(problem(error));
  } finally {
    for (const one of buttons) one.disabled = false;
  }
}
