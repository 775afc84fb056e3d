// The other conditions: one row each, in the recipe's order, never more than three; the rest are one line.

import { h, place, say } from "../dom.js";
import { t } from "../words.js";

const UNSEEN = new Set(["stale", "unknown", "missing", "unreadable"]);

class Row {
  constructor() {
    this.name = h("span", { class: "name" });
    this.figure = document.createTextNode("");
    this.unit = h("small");
    this.band = h("span", { class: "band" });
    this.off = h("span", { class: "off" });
    this.head = h("b");
    this.stretch = h("i");
    this.track = h("div", { class: "track", "aria-hidden": "true" }, this.stretch, this.head);
    this.container = h("li", { class: "row" },
      h("div", { class: "fact" }, this.name, h("span", { class: "value" }, this.figure, " ", this.unit), this.band, this.off), this.track);
  }

  /**
   * @param {import("../types.js").RowState} row
   * @param {boolean} loud the first that fails
   * @param {number | null} age seconds since the last word from the laptop, or null
   */
  update(row, loud, age) {
    const unseen = age !== null || UNSEEN.has(row.status);
    const value = row.value === null || row.value === "" ? "–" : String(row.value);
    say(this.name, row.name);
    say(this.figure, value);
    say(this.unit, value === "–" ? "" : row.unit);
    say(this.band, row.asked);
    say(this.off, age === null ? row.spare : t("drive.ago", { s: age }));
    this.container.classList.toggle("loud", loud);
    const at = row.at ?? 0.5;
    place(this.track, { "--from": row.low ?? 0, "--to": row.high ?? 1, "--at": Math.min(1, Math.max(0, at)) });
    this.head.className = unseen ? "gone" : row.status === "met" ? "" : row.status === "low" || at < (row.low ?? 0) ? "low" : "high";
  }
}

export class Rows {
  constructor() {
    /** @type {Row[]} */
    this.rows = [];
    this.others = h("li", { class: "others" });
    this.container = h("ul", { class: "rows", "aria-label": t("drive.conditions") }, this.others);
  }

  /**
   * @param {import("../types.js").Lead | null} lead
   * @param {import("../types.js").Ground} ground
   * @param {number | null} age
   */
  update(lead, ground, age) {
    const rows = lead?.rows ?? [];
    while (this.rows.length > rows.length) this.rows.pop()?.container.remove();
    while (this.rows.length < rows.length) {
      const row = new Row();
      this.rows.push(row);
      this.others.before(row.container);
    }
    const heard = age === null && ["calm", "steer", "warn"].includes(ground);
    const failing = heard ? rows.findIndex(({ status }) => status !== "met" && !UNSEEN.has(status)) : -1;
    rows.forEach((row, n) => this.rows[n].update(row, n === failing, age));
    this.container.classList.toggle("three", rows.length > 2);
    say(this.others, lead?.more ?? "");
    this.others.hidden = !lead?.more;
  }
}
