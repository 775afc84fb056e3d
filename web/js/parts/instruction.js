// The instruction: one line in a live region, which speaks a new line and not a tick; below it a number or a mark, and
// one line of explanation.

import { h, say } from "../dom.js";
import { FACE_MARKS, mark } from "./marks.js";

export class Instruction {
  constructor() {
    this.words = h("h1", { class: "words" });
    this.number = h("span", { class: "number" });
    this.count = h("div", { class: "count" }, this.number);
    this.what = h("p", { class: "what quiet" });
    this.shape = "";
    this.container = h("div", { class: "say" }, h("div", { role: "status", "aria-live": "polite", "aria-atomic": "true" }, this.words), this.count, this.what);
  }

  /** @param {import("../types.js").Face} face */
  update(face) {
    const number = face.number_kind === "none" ? "" : face.number;
    say(this.words, face.line);
    say(this.number, number);
    say(this.what, face.caption);
    this.number.classList.toggle("long", number.length > 4);
    this.count.classList.toggle("tight", number.length > 2);
    const shape = face.code === "paused" ? "pause" : (FACE_MARKS[face.mark] ?? "");
    if (shape === this.shape) return;
    this.shape = shape;
    this.count.querySelector("svg")?.remove();
    if (shape) this.count.append(mark(shape));
  }
}
