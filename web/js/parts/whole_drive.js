// The whole drive as one strip: every attempt where it happened, its outcome by its shape.

import { seg } from "../api.js";
import { h, place } from "../dom.js";
import { clock, t } from "../words.js";
import { mark } from "./signs.js";

/**
 * @param {string} drive
 * @param {import("../types.js").Verdict} verdict
 * @param {{capture: string, number: number}} [here] the attempt that is open
 */
export function wholeDrive(drive, verdict, here) {
  const length = Math.max(1, verdict.drive.duration_s);
  const all = verdict.captures.flatMap(({ id, title, attempts }) => attempts.map((attempt) => ({ id, title, attempt, number: attempt.number })));
  all.sort((a, b) => a.attempt.start_s - b.attempt.start_s);
  const items = all.filter(({ attempt }) => !attempt.small).map(({ id, title, attempt, number }) => {
    const wide = (attempt.end_s - attempt.start_s) / length > 0.06;
    const open = here?.capture === id && here.number === number;
    const label = t("after.on_strip", { title, outcome: t(`outcome.${attempt.outcome}`), time: clock(attempt.start_s) });
    const li = h("li", { class: `${attempt.outcome}${open ? " here" : ""}` },
      h("a", { href: windowOf(drive, id, number), "aria-label": label, "aria-current": open ? "true" : null },
        h("span", {}, attempt.outcome === "secured" && wide ? mark("tick") : null, attempt.outcome === "stopped" ? mark("stopped") : null)));
    place(li, { "--a": attempt.start_s / length, "--b": Math.min(1, attempt.end_s / length) });
    return li;
  });
  return h("div", {}, h("ul", { class: "whole", "aria-label": t("after.strip", { n: items.length }) }, ...items),
    h("div", { class: "times", "aria-hidden": "true" }, h("span", {}, clock(0)), h("span", {}, clock(verdict.drive.duration_s))));
}

/**
 * @param {string} drive
 * @param {string} capture
 * @param {number} number
 */
export function windowOf(drive, capture, number) {
  return `#/window?drive=${seg(drive)}&capture=${seg(capture)}&number=${number}`;
}
