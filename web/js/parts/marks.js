// The shapes, all on a square of 24: outcome marks made from the block, arrows, signs. A word stands beside each.

import { svg } from "../dom.js";

/** Each path: [d, stroke width or 0 for a filled shape, dash]. @type {Record<string, [string, number?, string?][]>} */
const SHAPES = {
  todo: [["M3 3h18v18H3z", 3]],
  running: [["M3 3h18v18H3z", 3], ["M3 3h10v18H3z"]],
  secured: [["M1.5 1.5h21v21h-21zM6 12.2l4.2 4.4 8-8.8-2.1-1.9-6 6.6-2-2.1z"]],
  missed: [["M1.5 1.5h8.2L8 8l3 4-3.6 4.5L9 22.5H1.5z"], ["M14 1.5h8.5v21h-9L12 16.8l3.4-4.6-3-4.2z", 2.6, "3.4 2.6"]],
  stopped: [["M7.4 1h9.2L23 7.4v9.2L16.6 23H7.4L1 16.6V7.4zM5.5 10v4h13v-4z"]],
  sparse: [["M2 2h4.4v4.4H2zM2 9.8h4.4v4.4H2zM2 17.6h4.4V22H2zM9.8 2h4.4v4.4H9.8zM9.8 9.8h4.4v4.4H9.8zM9.8 17.6h4.4V22H9.8zM17.6 2H22v4.4h-4.4zM17.6 9.8H22v4.4h-4.4zM17.6 17.6H22V22h-4.4z"]],
  skipped: [["M15 3H3v18h12", 3], ["M10 12h11M16.5 7l5 5-5 5", 3]],
  up: [["M12 2l10.5 11.5H16V22H8v-8.5H1.5z"]],
  down: [["M12 22L1.5 10.5H8V2h8v8.5h6.5z"]],
  lift: [["M3 2h18v4H3z"], ["M12 22l-9-9h5.5V8h7v5H21z"]],
  apart: [["M10 4H6.5a5 5 0 0 0-5 5v6a5 5 0 0 0 5 5H10M14 4h3.5a5 5 0 0 1 5 5v6a5 5 0 0 1-5 5H14", 3], ["M5.5 12H8M11 12h2M16 12h2.5", 3]],
  stop: [["M2 2h20v20H2z"]],
  dot: [["M12 2a10 10 0 1 1 0 20a10 10 0 1 1 0-20z"]],
  ring: [["M12 3a9 9 0 1 1 0 18a9 9 0 1 1 0-18z", 3, "4.4 3.2"]],
  more: [["M1 9.5h5v5H1zM9.5 9.5h5v5h-5zM18 9.5h5v5h-5z"]],
  back: [["M14.5 4L6 12l8.5 8", 3]],
  pause: [["M4 2h6v20H4zM14 2h6v20h-6z"]],
  passenger: [["M9 1a4 4 0 1 1 0 8a4 4 0 1 1 0-8zM2 23v-8c0-3.3 2.6-5 7-5 3 0 5 .8 6 2.6V23z"], ["M18.2 9h3.6q1.2 0 1.2 1.2v7.6q0 1.2-1.2 1.2h-3.6q-1.2 0-1.2-1.2v-7.6Q17 9 18.2 9z"]],
  play: [["M4 2l17 10L4 22z"]],
};

/**
 * A mark. With a label it is an image with that name; without, it is hidden from readers because a word stands beside.
 * @param {string} name
 * @param {string} [label]
 * @param {string} [classes]
 */
export function mark(name, label = "", classes = "") {
  const element = svg("svg", { viewBox: "0 0 24 24", class: `mark ${classes}`.trim() });
  element.dataset.mark = name;
  if (label) {
    element.setAttribute("role", "img");
    element.setAttribute("aria-label", label);
  } else element.setAttribute("aria-hidden", "true");
  for (const [d, width = 0, dash = ""] of SHAPES[name] ?? []) {
    const path = svg("path", width ? { d, fill: "none", stroke: "currentColor", "stroke-width": width } : { d, "fill-rule": "evenodd" });
    if (dash) path.setAttribute("stroke-dasharray", dash);
    element.append(path);
  }
  return element;
}

/** The face's mark, as the server names it, to the shape that shows it. @type {Record<string, string>} */
export const FACE_MARKS = { up: "up", down: "down", tick: "secured", octagon: "stopped", broken: "missed", wall: "lift", dashed: "apart" };

/** More shapes, from a module that only some screens load. @param {typeof SHAPES} more */
export function addShapes(more) {
  Object.assign(SHAPES, more);
}
