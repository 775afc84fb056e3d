// A capture's portrait: its lane in miniature. Filled when secured, dashed as far as it came when not.

import { h, svg } from "../dom.js";

const WIDTH = 78;
const TOP = 10;
const HEIGHT = 24;
const HATCH = Array.from({ length: 11 }, (_, n) => `M${n * 7} 9l6-6`).join("");
/** Emblems for a capture that has no trace of its own yet. @type {Record<string, string>} */
const EMBLEMS = {
  hold: "M0 20C8 16 14 26 22 24S36 17 44 20 58 26 66 22 74 22 78 21",
  parked: "M0 22C4 21 8 23 12 22S22 21 26 22 36 23 40 22 50 21 54 22 66 23 78 22",
  sweep: "M0 33C8 33 12 22 20 18S44 13 78 14",
  collect: "M0 27C6 27 8 18 16 18S24 25 30 25 38 15 46 15 54 28 62 28 70 20 78 20",
};

/**
 * One lane.
 * @param {{kind: string, place?: string, limited?: boolean, outcome?: string, progress?: number, points?: [number, number | null][]}} capture
 *   `points` are along the lane and in its band, 0 to 1
 */
export function lane({ kind, place = "", limited = false, outcome = "todo", progress = 0, points }) {
  const picture = svg("svg", { viewBox: "0 0 84 42", "aria-hidden": "true" });
  const add = (/** @type {string} */ tag, /** @type {Record<string, string | number>} */ attributes) => picture.append(svg(tag, attributes));
  const swept = kind === "sweep";
  add("rect", { class: "bed", x: 0, y: TOP, width: WIDTH, height: HEIGHT });
  if (outcome === "secured") add("rect", { class: "done", x: 0, y: TOP, width: WIDTH, height: HEIGHT });
  else if (progress > 0) add("path", { class: "part", d: `M0 ${TOP}H${(progress * WIDTH).toFixed(1)}V${TOP + HEIGHT}H0` });
  if (limited) {
    add("path", { class: "wall", d: `M0 9H${WIDTH}` });
    add("path", { class: "hatch", d: HATCH });
  } else if (!swept) add("path", { class: "edge", d: `M0 ${TOP}H${WIDTH}M0 ${TOP + HEIGHT}H${WIDTH}` });
  add("path", { class: "th", d: points ? thread(points) : (EMBLEMS[place === "parked" ? "parked" : kind] ?? EMBLEMS.hold) });
  add("path", { class: "post", d: "M79 5V39" });
  return picture;
}

/** @param {[number, number | null][]} points */
function thread(points) {
  let pen = "M";
  return points.map(([x, y]) => {
    if (y === null) {
      pen = "M";
      return "";
    }
    const step = `${pen}${(x * WIDTH).toFixed(1)} ${(TOP + (1 - Math.min(1.2, Math.max(-0.2, y))) * HEIGHT).toFixed(1)}`;
    pen = "L";
    return step;
  }).join("");
}

/**
 * The portraits of a capture, one for each time it is asked for.
 * @param {Parameters<typeof lane>[0][]} lanes
 */
export function portrait(lanes) {
  return h("div", { class: "portrait" }, ...lanes.slice(0, 3).map(lane));
}
