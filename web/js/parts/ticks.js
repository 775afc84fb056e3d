// Where the axes of a plot have their words: whole steps, bounds, the ends of a window.

import { clock, decimal, figure } from "../words.js";

const TIMES_S = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1800, 3600];
const ROOM_PX = 60;

/**
 * Places across.
 * @param {[number, number]} shown
 * @param {number} width px
 * @param {{start_s: number, end_s: number} | null} window whose ends are named, where there is room
 * @param {boolean} time seconds, else plain numbers
 */
export function across([from, to], width, window, time) {
  const room = (ROOM_PX * (to - from)) / (width || 1);
  const origin = window?.start_s ?? 0;
  const step = time ? (TIMES_S.find((each) => each >= room) ?? 3600) : round(room);
  const first = Math.ceil((from - origin) / step - 1e-9);
  const many = Math.floor((to - origin) / step + 1e-9) - first + 1;
  const all = Array.from({ length: Math.max(0, Math.min(50, many)) }, (_, n) => origin + (first + n) * step);
  if (!window || window.end_s < from || window.end_s > to) return all.filter((x) => !window || x >= origin - 1e-6 || from > origin);
  return [...all.filter((x) => x >= origin - 1e-6 && window.end_s - x >= room), window.end_s];
}

/** A time as it stands below a plot. @param {number} s @param {number} step_s how far the next one is */
export function timeText(s, step_s) {
  const before = s < -0.05 ? "−" : "";
  if (step_s >= 1) return before + clock(Math.abs(s));
  const rounded = Math.round(Math.abs(s) * 10) / 10;
  return `${before}${clock(rounded)}${decimal((Math.round(rounded * 10) % 10) / 10, 1).slice(1)}`;
}

/** @param {number} rough the least step */
function round(rough) {
  const ten = 10 ** Math.floor(Math.log10(rough || 1));
  return ten * ([1, 2, 5, 10].find((each) => each * ten >= rough) ?? 10);
}

/**
 * What the height spans: the values and bounds, but never so far outside a band that the band becomes a line.
 * @param {{low: number | null, high: number | null, limit: number | null}} bounds
 * @param {number[]} seen
 * @returns {[number, number]}
 */
export function reach({ low, high, limit }, seen) {
  const all = [...seen, ...numbers([low, high, limit])];
  if (!all.length) return [0, 1];
  let [least, most] = [Infinity, -Infinity];
  for (const v of all) [least, most] = [Math.min(least, v), Math.max(most, v)];
  if (low === null || high === null) return [least, most];
  const out = (high - low) * 0.5;
  return [Math.max(least, low - out), Math.min(most, high + out)];
}

/**
 * What the upright axis names: the bounds and the limit, else a few round values.
 * @param {{low: number | null, high: number | null, limit: number | null}} bounds
 * @param {number} from
 * @param {number} to
 */
export function levels({ low, high, limit }, from, to) {
  const bounds = numbers([low, high, limit]);
  if (bounds.length) return bounds;
  const step = round((to - from) / 4);
  return Array.from({ length: 6 }, (_, n) => (Math.ceil(from / step) + n) * step).filter((v) => v <= to);
}

/** @param {number} value */
export const level = (value) => figure(Math.round(value * 1e6) / 1e6);

/** @param {(number | null | undefined)[]} values @returns {number[]} */
export const numbers = (values) => /** @type {number[]} */ (values.filter((v) => v !== null && v !== undefined));
