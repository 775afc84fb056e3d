// A switch: a word, a line under it, and a box whose block stands left for off and right for on.

import { h } from "../dom.js";

/**
 * @param {string} id
 * @param {string} text
 * @param {string} under
 * @param {boolean} on
 * @param {(on: boolean) => void} act
 */
export function toggle(id, text, under, on, act) {
  const label = h("span", { id: `${id}-name` }, text);
  const small = h("small", { id: `${id}-text` }, under);
  return h("button", { id, class: "switch", type: "button", role: "switch", "aria-checked": String(on), "aria-labelledby": label.id, "aria-describedby": small.id, onclick: () => act(!on) },
    h("span", {}, label, small), h("i", { "aria-hidden": "true" }));
}
