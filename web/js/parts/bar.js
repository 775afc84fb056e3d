// What can be pressed in the car: Stop, always, and More. While it stops: Carry on, in the same place.

import { h } from "../dom.js";
import { t } from "../words.js";
import { mark } from "./marks.js";

export class Bar {
  /** @param {{stop: () => void, carryOn: () => void, more: () => void}} doing */
  constructor({ stop, carryOn, more }) {
    this.stop = h("button", { class: "act stop", type: "button", onclick: stop }, mark("stop"), t("drive.stop"));
    this.more = h("button", { class: "act more", type: "button", "aria-label": t("drive.more"), "aria-haspopup": "dialog", onclick: more }, mark("more"));
    this.carryOn = h("button", { class: "act main stop", type: "button", onclick: carryOn }, t("drive.carry_on"));
    this.container = h("div", { class: "bar" }, this.stop, this.more);
  }

  /** @param {boolean} stopping */
  update(stopping) {
    if (stopping === this.container.classList.contains("only")) return;
    this.container.classList.toggle("only", stopping);
    const had = this.container.contains(document.activeElement);
    this.container.replaceChildren(...(stopping ? [this.carryOn] : [this.stop, this.more]));
    if (had) (stopping ? this.carryOn : this.stop).focus();
  }
}
