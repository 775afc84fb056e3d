// More: what else can be done during a drive. A modal sheet; Escape closes it.

import { h } from "../dom.js";
import { t } from "../words.js";
import { mark } from "./marks.js";

export class Sheet {
  /** @param {{skip: () => void, pause: () => void, resume: () => void, other: () => void}} doing */
  constructor({ skip, pause, resume, other }) {
    const item = (/** @type {string} */ shape, /** @type {string} */ key, /** @type {() => void} */ act) =>
      h("li", {}, h("button", { class: "act wide", type: "button", onclick: () => (this.container.close(), act()) }, mark(shape), t(key)));
    this.skip = item("skipped", "more.skip", skip);
    this.pause = item("pause", "more.pause", pause);
    this.resume = item("play", "more.resume", resume);
    this.back = h("button", { class: "act main wide", type: "button", onclick: () => this.container.close() }, mark("back"), t("more.back"));
    this.container = h("dialog", { class: "sheet", "aria-label": t("more.title") },
      h("ul", {}, this.skip, this.pause, this.resume, item("passenger", "more.other", other), h("li", {}, this.back)));
  }

  /** @param {import("../types.js").LiveState} live */
  open(live) {
    this.skip.hidden = !live.lead;
    this.pause.hidden = live.drive.phase !== "recording";
    this.resume.hidden = live.drive.phase !== "paused";
    this.container.showModal();
  }
}
