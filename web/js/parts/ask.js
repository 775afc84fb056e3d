// What is typed or chosen on a review's screens: one row, its name on the left.

import { h } from "../dom.js";

/**
 * @param {string} name
 * @param {[string, string][]} options each value with its words
 * @param {string} chosen
 * @param {(value: string) => void} act
 */
export function choose(name, options, chosen, act) {
  const select = h("select", { onchange: () => act(select.value) }, ...options.map(([value, text]) => h("option", { value, selected: value === chosen }, text)));
  return h("label", { class: "ask" }, h("span", {}, name), select);
}

/**
 * @param {string} name
 * @param {Record<string, any>} attributes of the input
 * @param {string} [unit]
 * @param {string} [under]
 */
export function typed(name, attributes, unit = "", under = "") {
  const input = h("input", { autocomplete: "off", ...attributes });
  return { input, container: h("label", { class: "ask" }, h("span", {}, name, under ? h("small", {}, under) : null), h("span", { class: "with" }, input, unit ? h("span", { class: "unit" }, unit) : null)) };
}
