// The traces of a window, drawn with uPlot, which is loaded only here. Several signals share one time and one cursor.

import { h } from "../dom.js";
import { clock, figure, t } from "../words.js";

const BIG = 236;
const SMALL = 76;

export class Plots {
  /** @param {any} uPlot the library's class */
  constructor(uPlot) {
    this.uPlot = uPlot;
  }

  /**
   * Fetches the library; rejects where the build could not get it.
   * @param {import("../main.js").Way} way
   */
  static async load(way) {
    const at = new URL("vendor/", document.baseURI);
    const library = await import(new URL("uPlot.esm.js", at).href);
    await way.style(new URL("uPlot.min.css", at).href);
    return new Plots(library.default);
  }

  /**
   * @param {HTMLElement} container
   * @param {any} data GET windows/{capture}/{number}
   */
  draw(container, data) {
    const sync = this.uPlot.sync("window");
    const range = [Math.min(...data.signals.flatMap(ends)), Math.max(...data.signals.flatMap(ends))];
    const add = (/** @type {HTMLElement} */ into, /** @type {any} */ signal, /** @type {number} */ height) => {
      const value = h("output", {});
      const plot = h("div", { class: "plot", role: "img", "aria-label": t("window.plot", { name: signal.name }) });
      into.append(h("section", { class: "trace" }, h("header", {}, h("h2", {}, signal.name, signal.asked ? h("small", {}, signal.asked) : null), value), plot));
      this.one(plot, signal, data, range, height, sync, value);
    };
    // What the capture asks about is the proof; what was recorded besides is drawn when asked for.
    const asked = data.signals.filter((/** @type {any} */ { low, high, limit }) => low !== null || high !== null || limit !== null);
    const shown = asked.length ? asked.sort((/** @type {any} */ a, /** @type {any} */ b) => weight(b) - weight(a)) : data.signals.slice(0, 1);
    shown.forEach((/** @type {any} */ signal, /** @type {number} */ n) => add(container, signal, n === 0 ? BIG : SMALL));
    const rest = data.signals.filter((/** @type {any} */ signal) => !shown.includes(signal));
    if (!rest.length) return;
    const more = h("div", {});
    container.append(h("details", { class: "rest-of", ontoggle: () => more.childElementCount || rest.forEach((/** @type {any} */ signal) => add(more, signal, SMALL)) },
      h("summary", {}, t("window.more", { n: rest.length })), more));
  }

  /**
   * @param {HTMLElement} plot
   * @param {any} signal
   * @param {any} data
   * @param {number[]} range
   * @param {number} height
   * @param {any} sync
   * @param {HTMLElement} value
   */
  one(plot, signal, data, range, height, sync, value) {
    // One value asked for, a gear: half a step to each side is its band.
    if (signal.low !== null && signal.low === signal.high) signal = { ...signal, low: signal.low - 0.5, high: signal.high + 0.5 };
    const ink = () => getComputedStyle(document.documentElement);
    const token = (/** @type {string} */ name) => ink().getPropertyValue(`--${name}`).trim();
    const big = height === BIG;
    const show = (/** @type {number | null} */ idx) => {
      const v = idx === null || idx === undefined ? null : signal.values[idx];
      value.replaceChildren(v === null || v === undefined ? "" : figure(v), v === null || v === undefined ? "" : h("small", {}, ` ${signal.unit}`));
    };
    /** @param {any} u draws the bed, the window in the held colour, its posts and the limit */
    const bed = (u) => {
      const { ctx, bbox } = u;
      const x = (/** @type {number} */ s) => u.valToPos(s, "x", true);
      const y = (/** @type {number | null | undefined} */ v, /** @type {number} */ otherwise) => (v === null || v === undefined ? otherwise : u.valToPos(v, "y", true));
      const [top, bottom] = [y(signal.high ?? signal.limit, bbox.top), y(signal.low, bbox.top + bbox.height)];
      const [from, to] = [x(data.start_s), x(data.end_s)];
      ctx.save();
      ctx.beginPath();
      ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
      ctx.clip();
      ctx.fillStyle = token("lane");
      ctx.fillRect(bbox.left, top, bbox.width, bottom - top);
      if (big && data.secured_s !== null) {
        ctx.fillStyle = token("held");
        ctx.fillRect(from, top, to - from, bottom - top);
      }
      ctx.fillStyle = token("rule");
      if (signal.high !== null && signal.high !== undefined) ctx.fillRect(bbox.left, top - 1, bbox.width, 2);
      if (signal.low !== null && signal.low !== undefined) ctx.fillRect(bbox.left, bottom - 1, bbox.width, 2);
      if (signal.limit !== null && signal.limit !== undefined) hatch(ctx, bbox, u.valToPos(signal.limit, "y", true), token("limit-ink"));
      ctx.fillStyle = token("ink");
      for (const post of [from, to]) ctx.fillRect(post - 2, bbox.top, 4, bbox.height);
      ctx.restore();
    };
    /** @param {any} u the window's own part of the trace in the colour that stands on the block */
    const stroke = (u) => {
      if (!big || data.secured_s === null) return token("ink");
      const gradient = u.ctx.createLinearGradient(u.bbox.left, 0, u.bbox.left + u.bbox.width, 0);
      const part = (/** @type {number} */ s) => Math.min(1, Math.max(0, (u.valToPos(s, "x", true) - u.bbox.left) / u.bbox.width || 0));
      const [a, b] = [part(data.start_s), part(data.end_s)];
      for (const [at, name] of /** @type {[number, string][]} */ ([[0, "ink"], [a, "ink"], [a, "on-held"], [b, "on-held"], [b, "ink"], [1, "ink"]])) gradient.addColorStop(at, token(name));
      return gradient;
    };
    const seen = signal.values.filter((/** @type {any} */ v) => v !== null);
    const bounds = [signal.low, signal.high, signal.limit].filter((v) => v !== null && v !== undefined);
    const [least, most] = reach(signal, seen, bounds);
    const room = (most - least || Math.abs(most) || 1) * (big ? 0.14 : 0.1);
    const font = "400 14px B612, system-ui, sans-serif";
    const chart = new this.uPlot({
      width: plot.clientWidth || 320, height, legend: { show: false }, padding: [8, 18, 0, big ? 0 : 46],
      cursor: { sync: { key: "window" }, y: false, drag: { x: false, y: false }, points: { size: 12, width: 4, fill: () => token("ground"), stroke: () => token("ink") } },
      scales: { x: { time: false, range: () => range }, y: { range: () => [least - room, most + room] } },
      axes: [
        { show: big, stroke: () => token("ink-2"), font, grid: { show: false }, ticks: { show: false }, size: 28, values: (/** @type {any} */ _, /** @type {number[]} */ at) => at.map((s) => (s < data.start_s - 0.01 ? "" : clock(s - data.start_s))),
          splits: (/** @type {any} */ u) => splits(data, u.bbox.width / devicePixelRatio / (range[1] - range[0])) },
        { show: big, stroke: () => token("ink-2"), font, grid: { show: false }, ticks: { show: false }, size: 46, splits: (/** @type {any} */ _, /** @type {number} */ __, /** @type {number} */ from, /** @type {number} */ to) => levels(signal, from, to) },
      ],
      series: [{}, { stroke, width: 2.5, points: { show: false }, spanGaps: false, paths: signal.discrete ? this.uPlot.paths.stepped({ align: 1 }) : undefined }],
      hooks: { drawAxes: [bed], setCursor: [(/** @type {any} */ u) => show(u.cursor.idx)] },
    }, [signal.t_s, signal.values], plot);
    sync.sub(chart);
    new ResizeObserver(() => chart.setSize({ width: plot.clientWidth, height })).observe(plot);
    new MutationObserver(() => chart.redraw()).observe(document.documentElement, { attributeFilter: ["data-light"] });
  }
}

/** @param {any} signal */
function ends(signal) {
  return signal.t_s.length ? [signal.t_s[0], signal.t_s.at(-1)] : [];
}

/** What stands first: what must not be passed, then what has two sides. @param {any} signal */
function weight({ limit, low, high, discrete }) {
  const bands = Number(low !== null) + Number(high !== null);
  return limit !== null ? 4 - bands : discrete ? 0 : bands / 2;
}

/**
 * The window's beginning, its end, and whole steps between, as far as there is room.
 * @param {any} data
 * @param {number} scale px a second
 */
function splits(data, scale) {
  const length = data.end_s - data.start_s;
  const room = 52 / scale;
  const step = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600].find((each) => each >= room) ?? 1800;
  const between = Array.from({ length: Math.floor(length / step) + 1 }, (_, n) => data.start_s + n * step);
  return length < room ? [data.start_s] : [...between.filter((s) => data.end_s - s >= room), data.end_s];
}

/**
 * What the height spans: the values and bounds, but never so far outside a band that the band becomes a line.
 * @param {any} signal
 * @param {number[]} seen
 * @param {number[]} bounds
 */
function reach({ low, high }, seen, bounds) {
  const [least, most] = [Math.min(...seen, ...bounds), Math.max(...seen, ...bounds)];
  if (low === null || high === null) return [least, most];
  const out = (high - low) * 0.5;
  return [Math.max(least, low - out), Math.min(most, high + out)];
}

/** What the upright axis names: the bounds and the limit, else a few round values. @param {any} signal @param {number} from @param {number} to */
function levels(signal, from, to) {
  const bounds = [signal.low, signal.high, signal.limit].filter((v) => v !== null && v !== undefined);
  if (bounds.length) return bounds;
  const rough = (to - from) / 4;
  const ten = 10 ** Math.floor(Math.log10(rough));
  const step = ten * ([1, 2, 5, 10].find((each) => each * ten >= rough) ?? 10);
  return Array.from({ length: 6 }, (_, n) => (Math.ceil(from / step) + n) * step).filter((v) => v <= to);
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
