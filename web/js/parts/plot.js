// One plot with uPlot: a signal over time or another signal, its band, its limit, what left the band, its value at the
// cursor. It follows a view together with others.

import { h } from "../dom.js";
import { figure, t } from "../words.js";
import { across, level, levels, numbers, reach, timeText } from "./ticks.js";
import { byHand, byKey } from "./zoom.js";

const BIG = 236;
const SMALL = 76;
const FONT = "400 14px B612, system-ui, sans-serif";

/**
 * @typedef {object} Series
 * @property {number[]} x
 * @property {(number | null)[]} values
 * @property {"main" | "before" | "edge"} [look] `before` is the earlier of two, `edge` bounds what is known
 *
 * @typedef {object} What
 * @property {string} name
 * @property {string} unit
 * @property {string} [asked]
 * @property {Series[]} series the first is the one read at the cursor
 * @property {number | null} [low]
 * @property {number | null} [high]
 * @property {number | null} [limit]
 * @property {boolean} [discrete]
 * @property {boolean} [big]
 * @property {boolean} [time] seconds run across
 * @property {{start_s: number, end_s: number, secured_s: number | null} | null} [window]
 * @property {{from: number, to: number, text: string}[]} [out] excursions, and where it broke
 */

export class Plot {
  /**
   * @param {any} uPlot the library's class
   * @param {HTMLElement} container
   * @param {What} what
   * @param {import("./zoom.js").View} view
   */
  constructor(uPlot, container, what, view) {
    this.uPlot = uPlot;
    // One value asked for, a gear: half a step to each side is its band.
    const one = what.low !== null && what.low !== undefined && what.low === what.high;
    this.bounds = { low: one ? /** @type {number} */ (what.low) - 0.5 : (what.low ?? null), high: one ? /** @type {number} */ (what.high) + 0.5 : (what.high ?? null), limit: what.limit ?? null };
    this.what = what;
    this.view = view;
    this.series = what.series;
    this.value = h("output", {});
    this.plot = h("div", { class: "plot", role: "img", "aria-label": t("look.plot", { name: what.name }) });
    container.append(h("section", { class: "trace" }, h("header", {}, h("h2", {}, what.name, what.asked ? h("small", {}, what.asked) : null), this.value), this.plot));
    if (what.big) this.#slider();
    this.height = what.big ? BIG : SMALL;
    this.chart = new uPlot(this.#options(), this.#data(), this.plot);
    byHand(this.chart.over, view, (px) => this.chart.posToVal(px, "x"));
    view.plots.add(this);
    new ResizeObserver(() => this.plot.clientWidth && this.chart.setSize({ width: this.plot.clientWidth, height: this.height })).observe(this.plot);
    new MutationObserver(() => this.chart.redraw()).observe(document.documentElement, { attributeFilter: ["data-light"] });
  }

  /** Another thinning of the same signal. @param {Series[]} series */
  update(series) {
    this.series = series;
    this.chart.setData(this.#data(), false);
    this.chart.setScale("x", { min: this.view.now[0], max: this.view.now[1] });
  }

  /** @param {number} from @param {number} to */
  show(from, to) {
    this.chart.setScale("x", { min: from, max: to });
    this.point(this.view.at);
  }

  /** @param {number | null} x */
  point(x) {
    const inside = x !== null && x >= this.view.now[0] && x <= this.view.now[1];
    this.quiet = true;
    this.chart.setCursor(inside ? { left: this.chart.valToPos(x, "x"), top: 10 } : { left: -10, top: -10 });
    this.quiet = false;
    this.#say(x);
  }

  /** @param {number | null} x */
  #say(x) {
    const text = x === null ? "" : this.series.filter(({ look }) => look !== "edge").map((one) => valueAt(one, x, this.what.discrete)).map((v) => (v === null ? "–" : figure(round(v)))).join(" / ");
    this.value.replaceChildren(text, text ? h("small", {}, ` ${this.what.unit}`) : "");
    if (!this.what.big) return;
    this.plot.setAttribute("aria-valuenow", String(x ?? this.view.now[0]));
    this.plot.setAttribute("aria-valuetext", x === null ? t("zoom.none") : `${t("zoom.at", { at: this.view.text(x) })}: ${text} ${this.what.unit}`);
  }

  #slider() {
    const { plot, view } = this;
    for (const [name, value] of Object.entries({ role: "slider", tabindex: 0, "aria-valuemin": view.full[0], "aria-valuemax": view.full[1], "aria-valuenow": view.now[0], "aria-valuetext": t("zoom.none"), "aria-describedby": "zoom-how" })) plot.setAttribute(name, String(value));
    plot.addEventListener("keydown", (event) => {
      if (byKey(view, event)) event.preventDefault();
    });
  }

  #data() {
    const [first, ...more] = this.series;
    const same = more.every(({ x }) => x === first.x);
    return same ? [first.x, ...this.series.map(({ values }) => values)] : this.uPlot.join(this.series.map(({ x, values }) => [x, values]));
  }

  #options() {
    const { uPlot, what, bounds, view } = this;
    const big = Boolean(what.big);
    const time = what.time !== false;
    const [least, most] = reach(bounds, this.series.flatMap(({ values }) => numbers(values)));
    const room = (most - least || Math.abs(most) || 1) * (big ? 0.14 : 0.1);
    const edges = this.series.flatMap(({ look }, n) => (look === "edge" ? [n + 1] : []));
    const axis = { show: big, stroke: () => token("ink-2"), font: FONT, grid: { show: false }, ticks: { show: false } };
    const width = (/** @type {any} */ u) => u.bbox.width / devicePixelRatio;
    return {
      width: this.plot.clientWidth || 320, height: this.height, legend: { show: false }, padding: [8, 18, 0, big ? 0 : 46],
      cursor: { y: false, drag: { x: true, y: false, setScale: false, dist: 8 }, points: { size: 12, width: 4, fill: () => token("ground"), stroke: () => token("ink"), show: this.series.length === 1 } },
      select: { show: true }, scales: { x: { time: false, range: () => view.now }, y: { range: () => [least - room, most + room] } },
      axes: [
        { ...axis, size: 28, splits: (/** @type {any} */ u) => across(view.now, width(u), what.window ?? null, time),
          values: (/** @type {any} */ _, /** @type {number[]} */ at) => at.map((x) => (time ? timeText(x - (what.window?.start_s ?? 0), at.length > 1 ? at[1] - at[0] : 1) : level(x))) },
        { ...axis, size: 46, splits: (/** @type {any} */ _, /** @type {number} */ __, /** @type {number} */ from, /** @type {number} */ to) => levels(bounds, from, to), values: (/** @type {any} */ _, /** @type {number[]} */ at) => at.map(level) },
      ],
      bands: edges.length === 2 ? [{ series: edges, fill: () => token("lane") }] : [],
      series: [{}, ...this.series.map((one) => this.#line(one))],
      hooks: {
        drawAxes: [(/** @type {any} */ u) => bed(u, what, bounds)],
        draw: [(/** @type {any} */ u) => outside(u, what.out ?? [])],
        setCursor: [(/** @type {any} */ u) => {
          if (this.quiet) return;
          const { left } = u.cursor;
          const x = left >= 0 ? u.posToVal(left, "x") : null;
          this.#say(x);
          view.point(x, this);
        }],
        setSelect: [(/** @type {any} */ u) => {
          const { left, width: wide } = u.select;
          if (wide > 8) view.show(u.posToVal(left, "x"), u.posToVal(left + wide, "x"));
          u.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
        }],
      },
    };
  }

  /** @param {Series} one */
  #line({ look = "main" }) {
    const edge = look === "edge";
    return {
      stroke: (/** @type {any} */ u) => (edge ? token("rule") : look === "before" ? token("ink-2") : lit(u, this.what)), width: edge ? 1 : 2.5, dash: look === "before" ? [7, 5] : undefined,
      points: { show: false }, spanGaps: this.series.length > 1, paths: this.what.discrete ? this.uPlot.paths.stepped({ align: 1 }) : undefined,
    };
  }
}

/** @param {string} name */
function token(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
}

/** @param {number} value */
const round = (value) => Math.round(value * 1e4) / 1e4;

/**
 * The value nearest to a place; of a discrete one the value that holds there.
 * @param {Series} series
 * @param {number} at
 * @param {boolean} [holds]
 */
export function valueAt({ x, values }, at, holds = false) {
  let [low, high] = [0, x.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if (x[middle] <= at) low = middle + 1;
    else high = middle;
  }
  const near = low > 0 && (holds || low === x.length || at - x[low - 1] <= x[low] - at) ? low - 1 : Math.min(low, x.length - 1);
  return values[near] ?? null;
}

/** The bed of the band, the window in the held colour, its posts, the limit. @param {any} u @param {What} what @param {any} bounds */
function bed(u, { window, big, series }, { low, high, limit }) {
  const { ctx, bbox } = u;
  const y = (/** @type {number | null} */ v, /** @type {number} */ otherwise) => (v === null ? otherwise : u.valToPos(v, "y", true));
  const [top, bottom] = [y(high ?? limit, bbox.top), y(low, bbox.top + bbox.height)];
  ctx.save();
  ctx.beginPath();
  ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
  ctx.clip();
  const bounded = low !== null || high !== null || limit !== null;
  ctx.fillStyle = token(bounded || window ? "lane" : "panel");
  // Where the band is that of what is known, it is drawn by the library.
  if (series.length < 3) ctx.fillRect(bbox.left, top, bbox.width, bottom - top);
  const posts = window ? [u.valToPos(window.start_s, "x", true), u.valToPos(window.end_s, "x", true)] : [];
  if (big && window && window.secured_s !== null) {
    ctx.fillStyle = token("held");
    ctx.fillRect(posts[0], top, posts[1] - posts[0], bottom - top);
  }
  ctx.fillStyle = token("rule");
  if (high !== null) ctx.fillRect(bbox.left, top - 1, bbox.width, 2);
  if (low !== null) ctx.fillRect(bbox.left, bottom - 1, bbox.width, 2);
  if (limit !== null) hatch(ctx, bbox, u.valToPos(limit, "y", true), token("limit-ink"));
  ctx.fillStyle = token("ink");
  for (const post of posts) ctx.fillRect(post - 2, bbox.top, 4, bbox.height);
  ctx.restore();
}

/** The window's own part of the trace in the colour that stands on the block. @param {any} u @param {What} what */
function lit(u, { window, big }) {
  if (!big || !window || window.secured_s === null) return token("ink");
  const gradient = u.ctx.createLinearGradient(u.bbox.left, 0, u.bbox.left + u.bbox.width, 0);
  const part = (/** @type {number} */ s) => Math.min(1, Math.max(0, (u.valToPos(s, "x", true) - u.bbox.left) / u.bbox.width || 0));
  const [a, b] = [part(window.start_s), part(window.end_s)];
  for (const [at, name] of /** @type {[number, string][]} */ ([[0, "ink"], [a, "ink"], [a, "on-held"], [b, "on-held"], [b, "ink"], [1, "ink"]])) gradient.addColorStop(at, token(name));
  return gradient;
}

/** Excursions: a bracket along the top edge with a triangle, and its peak in figures. @param {any} u @param {{from: number, to: number, text: string}[]} out */
function outside({ ctx, bbox, valToPos }, out) {
  const px = devicePixelRatio;
  for (const { from, to, text } of out) {
    const [a, b] = [valToPos(from, "x", true), valToPos(to, "x", true)];
    if (b < bbox.left || a > bbox.left + bbox.width) continue;
    const [middle, top] = [Math.min(bbox.left + bbox.width - 4 * px, Math.max(bbox.left + 4 * px, (a + b) / 2)), bbox.top];
    ctx.save();
    ctx.fillStyle = token("steer-ink");
    ctx.fillRect(a, top, Math.max(3 * px, b - a), 4 * px);
    ctx.beginPath();
    ctx.moveTo(middle, top + 14 * px);
    ctx.lineTo(middle - 7 * px, top + 3 * px);
    ctx.lineTo(middle + 7 * px, top + 3 * px);
    ctx.fill();
    ctx.font = `700 ${14 * px}px B612, system-ui, sans-serif`;
    const right = middle > bbox.left + bbox.width / 2;
    ctx.textAlign = right ? "right" : "left";
    const at = middle + (right ? -11 : 11) * px;
    ctx.lineWidth = 5 * px;
    ctx.lineJoin = "round";
    ctx.strokeStyle = token("ground");
    ctx.strokeText(text, at, top + 15 * px);
    ctx.fillText(text, at, top + 15 * px);
    ctx.restore();
  }
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {{left: number, width: number, top: number}} bbox
 * @param {number} y
 * @param {string} colour
 */
function hatch(ctx, bbox, y, colour) {
  ctx.strokeStyle = colour;
  ctx.lineWidth = 3;
  ctx.beginPath();
  for (let x = bbox.left - 12; x < bbox.left + bbox.width; x += 10) {
    ctx.moveTo(x, y);
    ctx.lineTo(x + 10, y - 10);
  }
  ctx.moveTo(bbox.left, y);
  ctx.lineTo(bbox.left + bbox.width, y);
  ctx.stroke();
}
