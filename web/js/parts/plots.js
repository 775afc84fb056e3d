// Several plots below each other that share one view and one cursor. uPlot is loaded only here, and only when asked for.

import { h } from "../dom.js";
import { t } from "../words.js";
import { Plot } from "./plot.js";
import { addShapes } from "./marks.js";
import { View, zoomBar } from "./zoom.js";

addShapes({ plus: [["M12 4v16M4 12h16", 3]], minus: [["M4 12h16", 3]], on: [["M9.5 4L18 12l-8.5 8", 3]] });

export class Plots {
  /** @param {any} uPlot the library's class */
  constructor(uPlot) {
    this.uPlot = uPlot;
    /** @type {Map<string, Plot>} */
    this.drawn = new Map();
    this.view = new View([0, 1], String);
  }

  /**
   * Fetches the library; rejects where the build could not get it.
   * @param {import("../main.js").Way} way
   */
  static async load(way) {
    const at = new URL("vendor/", document.baseURI);
    const [library] = await Promise.all([import(new URL("uPlot.esm.js", at).href), way.style(new URL("uPlot.min.css", at).href)]);
    return new Plots(library.default);
  }

  /**
   * @param {HTMLElement} container
   * @param {[number, number]} full
   * @param {(x: number) => string} text
   */
  begin(container, full, text) {
    this.drawn.clear();
    this.view = new View(full[0] < full[1] ? full : [full[0], full[0] + 1], text);
    container.replaceChildren(zoomBar(this.view), h("p", { class: "heard", id: "zoom-how" }, t("zoom.how")));
  }

  /**
   * @param {HTMLElement} into
   * @param {string} key
   * @param {import("./plot.js").What} what
   */
  add(into, key, what) {
    this.drawn.set(key, new Plot(this.uPlot, into, what, this.view));
  }

  /**
   * What the capture asks about is the proof; what was recorded besides is drawn when asked for.
   * @param {HTMLElement} container
   * @param {[string, import("./plot.js").What][]} all
   */
  proof(container, all) {
    const asked = all.filter(([, { low, high, limit }]) => [low, high, limit].some((v) => v !== null && v !== undefined));
    const shown = asked.length ? asked.sort((a, b) => weight(b[1]) - weight(a[1])) : all.slice(0, 1);
    shown.forEach(([key, what], n) => this.add(container, key, { ...what, big: n === 0 }));
    const rest = all.filter((one) => !shown.includes(one));
    if (!rest.length) return;
    const more = h("div", {});
    container.append(h("details", { class: "rest-of", ontoggle: () => more.childElementCount || rest.forEach(([key, what]) => this.add(more, key, what)) },
      h("summary", {}, t("window.more", { n: rest.length })), more));
  }
}

/** What stands first: what must not be passed, then what has two sides. @param {import("./plot.js").What} what */
function weight({ limit = null, low = null, high = null, discrete }) {
  const bands = Number(low !== null) + Number(high !== null);
  return limit !== null ? 4 - bands : discrete ? 0 : bands / 2;
}
