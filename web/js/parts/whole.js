// Faces that take the whole screen: a limit passed, the car moving and nobody confirmed, everything secured.

import { h, say } from "../dom.js";
import { t } from "../words.js";
import { mark } from "./marks.js";
import { Strip } from "./strip.js";

const live = { role: "status", "aria-atomic": "true" };

/** @param {() => void} stop @param {string} [classes] @param {string} [key] */
function stopButton(stop, classes = "", key = "drive.stop") {
  return h("button", { class: `act wide ${classes}`, type: "button", onclick: stop }, mark("stop"), t(key));
}

export class AlarmFace {
  /** @param {{stop: () => void, seen: () => void}} doing */
  constructor({ stop, seen }) {
    this.words = h("h1", { class: "words" });
    this.passed = h("b");
    this.rest = document.createTextNode("");
    this.seen = h("button", { class: "act main wide", type: "button", onclick: seen }, t("alarm.seen"));
    this.container = h("main", { class: "alarm" },
      mark("stopped", t("outcome.stopped"), "sign"),
      h("div", { ...live, "aria-live": "assertive" }, this.words),
      h("p", { class: "why" }, this.passed, h("br"), this.rest),
      h("p", { class: "then" }, t("alarm.then")),
      h("div", { class: "acts" }, this.seen, stopButton(stop)));
  }

  /** @param {import("../types.js").LiveState} state */
  update({ alarm, face, drive }) {
    // Locked: only Stop is open; the alarm closes by itself when the value has come back.
    this.seen.hidden = Boolean(drive.locked);
    const text = alarm?.text ?? face.caption;
    const cut = text.indexOf(". ") + 1 || text.length;
    say(this.words, alarm?.line ?? face.line);
    say(this.passed, text.slice(0, cut));
    say(this.rest, text.slice(cut).trim());
  }
}

export class LockedFace {
  /** @param {{stop: () => void, passenger: () => void}} doing */
  constructor({ stop, passenger }) {
    this.strip = new Strip();
    this.container = h("main", { class: "locked" }, this.strip.container,
      h("div", { class: "body" }, h("div", { ...live, "aria-live": "polite" }, h("h1", { class: "words" }, t("locked.line"))), h("p", { class: "what" }, t("locked.text"))),
      h("div", { class: "acts" },
        h("button", { class: "act wide tall", type: "button", onclick: passenger }, mark("passenger"), t("locked.passenger")),
        stopButton(stop, "main tall")));
  }

  /**
   * @param {import("../types.js").LiveState} state
   * @param {import("../types.js").Phone} phone
   */
  update(state, phone) {
    this.strip.update(state, phone);
  }
}

export class DoneFace {
  /** @param {{stop: () => void}} doing */
  constructor({ stop }) {
    this.strip = new Strip();
    this.words = h("h1", { class: "words" });
    this.what = h("p", { class: "what" });
    this.container = h("main", { class: "done-all" }, this.strip.container,
      h("div", { class: "body" }, mark("secured", "", "sign"), h("div", { ...live, "aria-live": "polite" }, this.words), this.what),
      h("div", { class: "acts" }, stopButton(stop, "", "drive.stop_recording")));
  }

  /**
   * @param {import("../types.js").LiveState} state
   * @param {import("../types.js").Phone} phone
   */
  update(state, phone) {
    this.strip.update(state, phone);
    say(this.words, state.face.line);
    say(this.what, state.face.caption);
  }
}
