// The captures as small boxes: what is done, what runs, what is to do. A capture asked for twice has two, close together.

import { h } from "../dom.js";
import { t } from "../words.js";
import { mark } from "./marks.js";

/**
 * The boxes of one capture.
 * @param {import("../types.js").CaptureState} capture
 * @returns {string[]} an outcome each
 */
export function boxes({ asked, done, outcome }) {
  return Array.from({ length: Math.max(1, asked) }, (_, n) => {
    if (n < done) return "secured";
    return n === done && outcome !== "secured" ? outcome : "todo";
  });
}

export class Trail {
  constructor() {
    this.container = h("ul", { class: "trail", "aria-label": t("drive.captures") });
    this.drawn = "";
  }

  /** @param {import("../types.js").CaptureState[]} captures */
  update(captures) {
    const drawn = captures.map((one) => `${one.title}:${boxes(one).join()}`).join(";");
    if (drawn === this.drawn) return;
    this.drawn = drawn;
    this.container.replaceChildren(...captures.flatMap((capture) => boxes(capture).map((box, n) =>
      h("li", { class: n ? "same" : null }, mark(box, `${capture.title}: ${t(`outcome.${box}`)}`)))));
  }
}
