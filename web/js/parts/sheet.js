// More: what else can be done during a drive. A modal sheet; Escape closes it.

import { h } from "../dom.js";
import { t } from "../words.js";
import { addShapes, mark } from "./marks.js";

addShapes({
  sound: [["M2 9h5l6-5v16l-6-5H2z"], ["M16.5 8a6 6 0 0 1 0 8M19.5 5a10.5 10.5 0 0 1 0 14", 2.4]],
  dial: [["M3 19a10.5 10.5 0 1 1 18 0", 3], ["M12 14l5-7", 3]],
  again: [["M3 3h18v18H3z", 3, "5 3"], ["M8 12h8M12 8v8", 3]],
});

export class Sheet {
  /** @param {{skip: () => void, comeBack: () => void, pause: () => void, resume: () => void, other: () => void, retry: () => void, go: (hash: string) => void}} doing */
  constructor({ skip, comeBack, pause, resume, other, retry, go }) {
    const item = (/** @type {string} */ shape, /** @type {string} */ key, /** @type {() => void} */ act) =>
      h("li", {}, h("button", { class: "act wide", type: "button", onclick: () => (this.container.close(), act()) }, mark(shape), t(key)));
    this.skip = item("skipped", "more.skip", skip);
    this.comeBack = item("again", "more.come_back", comeBack);
    this.dial = item("dial", "more.dial", () => go("#/dial"));
    this.rates = item("sparse", "more.rates", () => go("#/rates"));
    this.retry = item("apart", "more.retry", retry);
    this.pause = item("pause", "more.pause", pause);
    this.resume = item("play", "more.resume", resume);
    this.back = h("button", { class: "act main wide", type: "button", onclick: () => this.container.close() }, mark("back"), t("more.back"));
    this.container = h("dialog", { class: "sheet", "aria-label": t("more.title") },
      h("ul", {}, this.retry, this.skip, this.comeBack, this.pause, this.resume, this.dial, this.rates, item("sound", "more.sound", () => go("#/sound?from=drive")), item("passenger", "more.other", other), h("li", {}, this.back)));
  }

  /** @param {import("../types.js").LiveState} live */
  open(live) {
    this.skip.hidden = !live.lead || live.lead.gate === "skipped";
    // What waits for a passenger is not taken up by a driver.
    this.comeBack.hidden = live.drive.role === "driver" || !live.captures.some(({ gate }) => gate === "skipped");
    this.dial.hidden = live.drive.role !== "passenger";
    this.rates.hidden = live.drive.source !== "link";
    this.retry.hidden = !live.link.occupied;
    this.pause.hidden = live.drive.phase !== "recording";
    this.resume.hidden = live.drive.phase !== "paused";
    this.container.showModal();
  }
}
