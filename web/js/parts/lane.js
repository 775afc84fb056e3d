// The lead condition: its name and value, and the lane in which the hold or the sweep goes forward.

import { h, place, say, svg } from "../dom.js";
import { t } from "../words.js";

const UNSEEN = new Set(["stale", "unknown", "missing", "unreadable"]);
/** How far a head may leave the band: as far as its own margin, so that it never stands on a value above or below. */
const OUT = 0.17;

export class Lane {
  constructor() {
    this.name = h("span", { class: "name" });
    this.figure = document.createTextNode("");
    this.unit = h("small");
    this.wall = h("div", { class: "wall" });
    this.ghost = h("div", { class: "ghost" });
    this.half = h("div", { class: "half" });
    this.head = h("div", { class: "head" });
    this.thread = svg("svg", { viewBox: "0 0 1000 100", preserveAspectRatio: "none", "aria-hidden": "true" });
    this.tags = { t: h("span", { class: "tag t" }), b: h("span", { class: "tag b" }), s: h("span", { class: "tag s" }), e: h("span", { class: "tag e" }) };
    this.field = h("div", { class: "inner" }, h("div", { class: "bed" }), this.ghost, h("div", { class: "done" }), this.half, this.thread,
      h("div", { class: "post" }), this.wall, this.head, ...Object.values(this.tags));
    this.lane = h("div", { class: "lane", role: "progressbar", "aria-valuemin": 0, "aria-valuemax": 100 }, this.field);
    this.container = h("section", { class: "lead", "aria-label": t("drive.lead") },
      h("div", { class: "fact" }, this.name, h("span", { class: "value" }, this.figure, " ", this.unit)), this.lane);
    this.drawn = -1;
  }

  /**
   * @param {import("../types.js").Lead | null} lead
   * @param {import("../trace.js").Trace} trace
   * @param {boolean} gone nobody knows how things are now
   */
  update(lead, trace, gone) {
    const lane = lead?.lane;
    this.container.toggleAttribute("data-empty", !lane);
    if (!lead || !lane) {
      this.lane.removeAttribute("aria-valuenow");
      return;
    }
    const unseen = gone || UNSEEN.has(lane.status);
    const upperOnly = lane.ceiling !== null;
    const open = lane.low === null && lane.high === null && !upperOnly;
    const y = open ? 0.5 : Math.min(1 + OUT, Math.max(upperOnly ? 0 : -OUT, lane.head?.y ?? 0.5));
    const at = Math.min(1, Math.max(0, lane.head?.x ?? lane.progress));

    say(this.name, lane.name);
    const value = lane.value === null || lane.value === "" ? "–" : String(lane.value);
    say(this.figure, value);
    say(this.unit, value === "–" ? "" : lane.unit);
    this.lane.className = ["lane", upperOnly && "ceiling", open && "plain", !open && lane.high === null && "no-top", !open && lane.low === null && "no-bottom", unseen && "gone"].filter(Boolean).join(" ");
    place(this.field, { "--at": at, "--y": y, "--was": lane.ghost ?? 0 });
    this.ghost.hidden = lane.ghost === null || lane.ghost === undefined || lane.ghost <= at;
    this.wall.hidden = !upperOnly;
    this.half.hidden = upperOnly || open;
    const side = unseen ? "gone" : !upperOnly && y < 0 ? "low" : y > 1 ? "high" : "";
    this.head.className = `head ${side}`.trim();
    this.tag(lane, at, side, upperOnly, gone);
    this.draw(trace, upperOnly, unseen);
    this.progress(lead, lane);
  }

  /**
   * @param {import("../types.js").LaneState} lane
   * @param {number} at
   * @param {string} side
   * @param {boolean} upperOnly
   * @param {boolean} gone
   */
  tag(lane, at, side, upperOnly, gone) {
    const { t: top, b: bottom, s: spare, e: end } = this.tags;
    say(top, upperOnly ? (lane.ceiling_text ?? "") : (lane.high_text ?? ""));
    say(bottom, lane.low_text ?? "");
    say(spare, gone ? "" : lane.spare);
    say(end, lane.goal ?? "");
    top.classList.toggle("aside", side === "high" && at < 0.2);
    bottom.classList.toggle("aside", side === "low" && at < 0.2);
    spare.classList.toggle("under", side === "high" && at > 0.6);
    end.classList.toggle("under", side === "low" && at > 0.8);
  }

  /**
   * @param {import("../trace.js").Trace} trace
   * @param {boolean} upperOnly
   * @param {boolean} unseen
   */
  draw(trace, upperOnly, unseen) {
    if (trace.version === this.drawn) return;
    this.drawn = trace.version;
    const pieces = trace.pieces({ upperOnly });
    while (this.thread.childElementCount > pieces.length) this.thread.lastChild?.remove();
    while (this.thread.childElementCount < pieces.length) this.thread.append(svg("polyline"));
    pieces.forEach(({ inside, points }, n) => {
      const line = this.thread.children[n];
      line.setAttribute("class", inside ? "in" : "out");
      if (line.getAttribute("points") !== points) line.setAttribute("points", points);
    });
    this.thread.toggleAttribute("data-unseen", unseen);
  }

  /**
   * @param {import("../types.js").Lead} lead
   * @param {import("../types.js").LaneState} lane
   */
  progress(lead, lane) {
    const now = Math.round(lane.progress * 100);
    this.lane.setAttribute("aria-label", lead.title);
    this.lane.setAttribute("aria-valuenow", String(now));
    this.lane.setAttribute("aria-valuetext", t(lead.kind === "sweep" ? "drive.swept" : "drive.held", { percent: now, goal: lane.goal ?? "" }));
  }
}
