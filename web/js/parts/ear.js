// Says in the top line of Drive that something cannot be heard, and what to do about it; nothing when all can.

import { h, say } from "../dom.js";
import { t } from "../words.js";
import { addShapes, mark } from "./marks.js";

addShapes({ mute: [["M2 9h5l6-5v16l-6-5H2z"], ["M16 9l6 6M22 9l-6 6", 2.6]] });

export class Ear {
  constructor() {
    this.text = document.createTextNode("");
    this.container = h("span", { class: "ear", hidden: true }, mark("mute"), h("span", {}, this.text));
  }

  /** @param {import("../types.js").Ear | null} ear */
  update(ear) {
    const key = problemOf(ear);
    this.container.hidden = !key;
    if (key) say(this.text, t(`ear.${key}`));
  }
}

/** What cannot be heard, the worst first; empty when all can. @param {import("../types.js").Ear | null} ear */
export function problemOf(ear) {
  if (!ear) return "";
  if (ear.tones === "blocked" || ear.voice === "blocked") return "blocked";
  if (ear.tones === "none") return "no_sound";
  if (ear.voice === "none") return "no_voice";
  return ear.tones === "off" && ear.voice === "off" ? "off" : "";
}
