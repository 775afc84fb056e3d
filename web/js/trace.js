// The thread in the lane: kept by the page from one state to the next, caught up from the server after a gap.

/** @typedef {{x: number, y: number | null}} Point x along the lane, y in the band (0 low, 1 high), null where unknown */

const STEP_X = 1 / 400;
const STEP_Y = 0.03;

export class Trace {
  constructor() {
    /** Which attempt this is; the trace of another begins empty. */
    this.key = "";
    /** @type {Point[]} */
    this.points = [];
    this.version = 0;
  }

  /**
   * @param {string} key
   * @param {Point[]} points oldest first
   */
  fill(key, points) {
    this.key = key;
    this.points = points;
    this.version += 1;
  }

  /**
   * Adds a point; one that is neither farther along nor elsewhere than the last is left out.
   * @param {string} key
   * @param {Point} point
   */
  add(key, point) {
    const last = this.points.at(-1);
    if (key !== this.key || (last && point.x < last.x - 0.02)) this.fill(key, []);
    const near = last && point.x - last.x < STEP_X && (point.y === null) === (last.y === null);
    if (near && Math.abs((point.y ?? 0) - (last.y ?? 0)) < STEP_Y) return;
    this.points.push(point);
    this.version += 1;
  }

  clear() {
    if (this.points.length) this.fill("", []);
  }

  /**
   * The trace in pieces inside and outside the band, as point lists of an SVG of 1000 by 100. Pieces that touch share
   * the crossing of the bound; an unknown point cuts.
   * @param {{upperOnly?: boolean}} [band]
   * @returns {{inside: boolean, points: string}[]}
   */
  pieces({ upperOnly = false } = {}) {
    /** @type {{inside: boolean, list: Point[]}[]} */
    const pieces = [];
    /** @type {{inside: boolean, list: Point[]} | null} */
    let piece = null;
    /** @type {Point | null} */
    let before = null;
    for (const point of this.points) {
      if (point.y === null) {
        piece = before = null;
        continue;
      }
      const inside = point.y <= 1 && (upperOnly || point.y >= 0);
      if (!piece) pieces.push((piece = { inside, list: [] }));
      else if (piece.inside !== inside && before) {
        const edge = crossing(before, point);
        piece.list.push(edge);
        pieces.push((piece = { inside, list: [edge] }));
      }
      piece.list.push(point);
      before = point;
    }
    return pieces.map(({ inside, list }) => ({ inside, points: list.map(onSvg).join(" ") }));
  }
}

/**
 * @param {Point} a
 * @param {Point} b
 */
function crossing(a, b) {
  const [ya, yb] = [a.y ?? 0, b.y ?? 0];
  const bound = Math.max(ya, yb) > 1 ? 1 : 0;
  const part = yb === ya ? 0 : (bound - ya) / (yb - ya);
  return { x: a.x + (b.x - a.x) * Math.min(1, Math.max(0, part)), y: bound };
}

/** @param {Point} point */
function onSvg({ x, y }) {
  const shown = Math.min(1.25, Math.max(-0.25, y ?? 0));
  return `${(x * 1000).toFixed(1)},${((1 - shown) * 100).toFixed(1)}`;
}
