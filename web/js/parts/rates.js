// How often each signal comes: one line each, its rate beside the one that is asked for.

import { h } from "../dom.js";
import { decimal, t } from "../words.js";
import { mark } from "./signs.js";

/** Under this share of what is asked a rate is marked. */
const ENOUGH = 0.8;

/** One figure after the point where it says something. @param {number} hz */
const short = (hz) => decimal(hz, hz >= 10 ? 0 : hz >= 1 ? 1 : 2);

/**
 * @typedef {object} Rate
 * @property {string} name
 * @property {number} asked_hz
 * @property {number} hz what comes, or is expected
 * @property {boolean} [enough]
 * @property {boolean} [offered] false: the car does not have it
 */

export class Rates {
  constructor() {
    this.container = h("ul", { class: "rates" });
  }

  /** @param {Rate[]} rates */
  update(rates) {
    this.container.replaceChildren(...rates.map(({ name, asked_hz, hz, enough = hz >= ENOUGH * asked_hz, offered = true }) =>
      h("li", { class: enough ? "" : "slow" }, h("span", { class: "sig" }, enough ? null : mark(offered ? "mind" : "cross", t("rates.slow"), offered ? "hm" : "no"), name),
        h("span", { class: "hz" }, h("b", {}, offered ? short(hz) : "–"), " ", t("rates.of", { asked: short(asked_hz) })))));
  }
}
