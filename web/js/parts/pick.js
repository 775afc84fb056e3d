// One of a few, side by side: what is chosen is filled.

import { h } from "../dom.js";

/**
 * @template {string} V
 * @param {string} name of the group, and of its inputs
 * @param {string} legend
 * @param {[V, string][]} choices each value with its word
 * @param {V} chosen
 * @param {(value: V) => void} act
 */
export function pick(name, legend, choices, chosen, act) {
  return h("fieldset", { class: "pickone" }, h("legend", {}, legend), h("div", {}, ...choices.map(([value, text]) =>
    h("label", {}, h("input", { type: "radio", name, value, checked: value === chosen, onchange: () => act(value) }), text))));
}
