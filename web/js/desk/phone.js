// The phone beside the sentence: Drive's own parts, led through four moments by the real judge and adviser.

import { h, say } from "../dom.js";
import { Bar } from "../parts/bar.js";
import { Instruction } from "../parts/instruction.js";
import { Lane } from "../parts/lane.js";
import { Rows } from "../parts/rows.js";
import { Strip } from "../parts/strip.js";
import { faceShown } from "../screens/drive.js";
import { Trace } from "../trace.js";
import { t } from "../words.js";

const MOMENTS = ["approach", "going", "correct", "secured"];
/** A phone that hears its laptop. */
const NEAR = { lost: false, old: false, age_s: 0, back: "", told: false };
const POINTS = 40;

export class Phone {
  constructor() {
    const nothing = () => undefined;
    this.strip = new Strip();
    this.instruction = new Instruction();
    this.lane = new Lane();
    this.rows = new Rows();
    this.trace = new Trace();
    const bar = new Bar({ stop: nothing, carryOn: nothing, more: nothing });
    // The heading of the phone is no heading of this page.
    this.instruction.words.setAttribute("role", "presentation");
    this.instruction.container.firstElementChild?.removeAttribute("role");
    this.instruction.container.firstElementChild?.removeAttribute("aria-live");
    this.screen = h("div", { class: "drive" }, h("div", { class: "top" }, this.strip.container, this.instruction.container), this.lane.container, this.rows.container, bar.container);
    this.none = h("p", { class: "none" }, t("write.no_phone"));
    this.shell = h("div", { class: "shell", inert: true, "aria-hidden": "true" }, this.screen);
    this.said = h("p", { class: "heard", role: "status" });
    this.steps = h("div", { class: "steps", role: "group", "aria-label": t("write.phone") }, ...MOMENTS.map((moment) =>
      h("button", { type: "button", "data-moment": moment, "aria-pressed": "false", onclick: () => this.show(moment) }, t(`write.moments.${moment}`))));
    this.container = h("section", { class: "phone" }, h("h2", {}, t("write.phone")), this.shell, this.none, this.steps, this.said);
    /** @type {Record<string, any>} */
    this.moments = {};
    this.moment = "going";
    this.update({});
  }

  /** @param {Record<string, import("../types.js").LiveState>} moments */
  update(moments) {
    this.moments = moments;
    const some = MOMENTS.some((moment) => moments[moment]);
    this.shell.hidden = this.steps.hidden = !some;
    this.none.hidden = some;
    for (const button of this.steps.querySelectorAll("button")) button.disabled = !moments[button.dataset.moment ?? ""];
    if (some) this.show(moments[this.moment] ? this.moment : (MOMENTS.find((moment) => moments[moment]) ?? ""));
  }

  /** @param {string} moment */
  show(moment) {
    const live = this.moments[moment];
    if (!live) return;
    this.moment = moment;
    for (const button of this.steps.querySelectorAll("button")) button.setAttribute("aria-pressed", String(button.dataset.moment === moment));
    const face = faceShown(live, NEAR);
    this.screen.dataset.ground = face.ground;
    this.instruction.update(face);
    this.strip.update(live, NEAR);
    this.thread(live.lead);
    this.lane.update(live.lead, this.trace, false);
    this.rows.update(live.lead, face.ground, null);
    say(this.said, t("write.says", { line: face.line, number: face.number_kind === "none" ? "" : face.number, caption: face.caption }));
  }

  /** A calm thread up to where the head is. @param {import("../types.js").Lead | null} lead */
  thread(lead) {
    const lane = lead?.lane;
    const end = lane?.head?.x ?? lane?.progress ?? 0;
    const y = lane?.head?.y ?? 0.5;
    if (!lead || !lane || end < 0.03 || !["running", "held"].includes(lead.phase)) return this.trace.fill("none", []);
    const swept = lead.kind === "sweep";
    const from = swept ? 0.15 : 0.5;
    const points = Array.from({ length: POINTS + 1 }, (_, n) => {
      const part = n / POINTS;
      const late = Math.max(0, (part - 0.8) / 0.2);
      const bend = from + (y - from) * (swept ? part : late * late) + 0.09 * Math.sin(part * 17) * (1 - late);
      return { x: part * end, y: bend };
    });
    return this.trace.fill(`${lead.id} ${this.moment}`, points);
  }
}
