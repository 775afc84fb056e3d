// The top line of Drive: the trail of captures, and what is being done with the data.

import { h, say } from "../dom.js";
import { t } from "../words.js";
import { mark } from "./marks.js";
import { Trail } from "./trail.js";

export class Strip {
  constructor() {
    this.trail = new Trail();
    this.text = document.createTextNode("");
    this.rec = h("span", { class: "rec" }, this.text);
    this.shape = "";
    this.container = h("div", { class: "strip" }, this.trail.container, this.rec);
  }

  /**
   * @param {import("../types.js").LiveState} live
   * @param {import("../types.js").Phone} phone
   */
  update(live, phone) {
    this.trail.update(live.captures);
    const waiting = phone.lost || phone.old || live.link.state === "lost" || live.trouble;
    say(this.text, phone.lost || phone.old ? t("drive.not_known") : phone.back || recording(live));
    const shape = waiting ? "ring" : "dot";
    if (shape === this.shape) return;
    this.shape = shape;
    this.rec.querySelector("svg")?.remove();
    this.rec.prepend(mark(shape));
  }
}

/** @param {import("../types.js").LiveState} live */
function recording({ drive, link, trouble }) {
  if (trouble) return t(trouble.stopped ? "drive.not_recording" : "drive.behind");
  if (link.state === "lost") return t("drive.waiting");
  const fast = drive.speed !== null && drive.speed > 1 ? ` ${t("drive.times", { n: drive.speed })}` : "";
  return t(`drive.recording_${drive.source}`) + (drive.source === "link" ? "" : fast);
}
