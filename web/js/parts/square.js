// A square to be scanned: rows of 0 and 1 drawn as one path, dark on white in every light, because cameras want it so.

import { svg } from "../dom.js";

const MARGIN = 4;

/**
 * @param {string[]} rows
 * @param {string} label
 */
export function square(rows, label) {
  const size = rows.length + 2 * MARGIN;
  let d = "";
  rows.forEach((row, y) => {
    // Runs of dark modules become one rectangle each.
    for (const run of row.matchAll(/1+/g)) d += `M${run.index + MARGIN} ${y + MARGIN}h${run[0].length}v1h-${run[0].length}z`;
  });
  return svg("svg", { viewBox: `0 0 ${size} ${size}`, role: "img", "aria-label": label, "shape-rendering": "crispEdges" }, svg("path", { d }));
}
