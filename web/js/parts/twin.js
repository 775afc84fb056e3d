// A plot's twin for whoever cannot see it, or wants the figures: the same signals as rows of one table.

import { h } from "../dom.js";
import { figure, t } from "../words.js";
import { valueAt } from "./plot.js";

const ROWS = 40;

/**
 * A button that shows and hides the table; it is made when it is first asked for.
 * @param {object} what
 * @param {string} what.across what runs across, with its unit
 * @param {() => [number, number]} what.shown
 * @param {(x: number) => string} what.text
 * @param {() => {name: string, unit: string, discrete?: boolean, x: number[], values: (number | null)[]}[]} what.signals
 */
export function twin({ across, shown, text, signals }) {
  const room = h("div", {});
  const whole = h("details", { class: "twin" }, h("summary", {}, t("twin.show")), room);
  whole.addEventListener("toggle", () => whole.open && draw());
  /** As the plots show it now. */
  function draw() {
    const [from, to] = shown();
    const all = signals();
    const places = Array.from({ length: ROWS + 1 }, (_, n) => from + ((to - from) * n) / ROWS);
    const rows = places.map((x) => [h("th", { scope: "row" }, text(x)), ...all.map((one) => {
      const value = one.x.length && x >= one.x[0] - 1e-6 ? valueAt(one, x, one.discrete) : null;
      return h("td", {}, value === null ? "–" : figure(Math.round(value * 1e4) / 1e4));
    })]);
    room.replaceChildren(scrolled(t("twin.show"), h("table", { class: "grid" }, h("caption", {}, t("twin.caption", { n: ROWS })),
      h("thead", {}, h("tr", {}, h("th", { scope: "col" }, across), ...all.map(({ name, unit }) => h("th", { scope: "col" }, name, unit ? h("small", {}, unit) : null)))),
      h("tbody", {}, ...rows.map((cells) => h("tr", {}, ...cells))))));
  }
  return { container: whole, redraw: () => whole.open && draw() };
}

/**
 * What may be wider than the screen scrolls by itself, by finger and by key.
 * @param {string} name
 * @param {HTMLElement} inside
 */
export function scrolled(name, inside) {
  return h("div", { class: "scrolled", role: "region", "aria-label": name, tabindex: 0 }, inside);
}
