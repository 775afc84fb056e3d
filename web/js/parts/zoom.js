// What part of the time, or of the engine speeds, several plots show together; and where their one cursor stands.
// Fingers, mouse, keys and buttons all come here.

import { h } from "../dom.js";
import { t } from "../words.js";
import { mark } from "./marks.js";

/** How far in: a thousandth of the whole. */
const CLOSEST = 1e-3;
const SETTLE_MS = 250;

/** @typedef {{show: (from: number, to: number) => void, point: (x: number | null) => void}} Shown a plot that follows */

export class View {
  /**
   * @param {[number, number]} full everything there is
   * @param {(x: number) => string} text a place across, as people read it
   */
  constructor(full, text) {
    this.full = full;
    this.now = /** @type {[number, number]} */ ([...full]);
    this.text = text;
    this.at = /** @type {number | null} */ (null);
    /** @type {Set<Shown>} */
    this.plots = new Set();
    /** Called when the view has come to rest. @type {(from: number, to: number, zoomed: boolean) => void} */
    this.rest = () => undefined;
    /** @type {Set<() => void>} */
    this.heard = new Set();
    this.timer = 0;
  }

  get zoomed() {
    return this.now[0] > this.full[0] || this.now[1] < this.full[1];
  }

  /** @param {number} from @param {number} to */
  show(from, to) {
    const whole = this.full[1] - this.full[0];
    const length = Math.min(whole, Math.max(whole * CLOSEST, to - from));
    const first = Math.min(this.full[1] - length, Math.max(this.full[0], (from + to - length) / 2));
    this.now = /** @type {[number, number]} */ (length >= whole ? [...this.full] : [first, first + length]);
    for (const plot of this.plots) plot.show(...this.now);
    this.tell();
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.rest(...this.now, this.zoomed), SETTLE_MS);
  }

  /** Closer above 1, further below. @param {number} times @param {number} [about] the place that stays */
  zoom(times, about = this.at ?? (this.now[0] + this.now[1]) / 2) {
    const [from, to] = this.now;
    const stays = Math.min(to, Math.max(from, about));
    this.show(stays - (stays - from) / times, stays + (to - stays) / times);
  }

  /** @param {number} share of what is shown; above 0 goes on */
  pan(share) {
    const [from, to] = this.now;
    const by = Math.min(this.full[1] - to, Math.max(this.full[0] - from, share * (to - from)));
    this.show(from + by, to + by);
  }

  reset() {
    this.show(...this.full);
  }

  /** Puts the cursor there. @param {number | null} x @param {Shown} [but] the plot that has it already */
  point(x, but) {
    this.at = x === null ? null : Math.min(this.full[1], Math.max(this.full[0], x));
    for (const plot of this.plots) if (plot !== but) plot.point(this.at);
    this.tell();
  }

  tell() {
    for (const listener of this.heard) listener();
  }
}

/**
 * The buttons of a view, for whoever does not pinch or drag; and where its cursor stands.
 * @param {View} view
 */
export function zoomBar(view) {
  const at = h("output", { class: "at" });
  const press = (/** @type {string} */ shape, /** @type {string} */ name, /** @type {() => void} */ act) =>
    h("button", { type: "button", "aria-label": name, onclick: act }, mark(shape));
  const closer = press("plus", t("zoom.closer"), () => view.zoom(2));
  const further = press("minus", t("zoom.further"), () => view.zoom(0.5));
  const earlier = press("back", t("zoom.earlier"), () => view.pan(-0.5));
  const later = press("on", t("zoom.later"), () => view.pan(0.5));
  const all = h("button", { type: "button", onclick: () => view.reset() }, t("zoom.all"));
  const update = () => {
    at.textContent = view.at === null ? "" : t("zoom.at", { at: view.text(view.at) });
    for (const [button, off] of /** @type {[HTMLButtonElement, boolean][]} */ ([[further, !view.zoomed], [earlier, view.now[0] <= view.full[0]], [later, view.now[1] >= view.full[1]], [all, !view.zoomed]])) {
      button.setAttribute("aria-disabled", String(off));
    }
  };
  view.heard.add(update);
  update();
  return h("div", { class: "zoom", role: "group", "aria-label": t("zoom.bar") }, at, h("div", {}, further, closer, earlier, later, all));
}

/** What a key does to a view; says whether it did. @param {View} view @param {KeyboardEvent} event */
export function byKey(view, event) {
  const [from, to] = view.now;
  const step = (to - from) / (event.key.startsWith("Page") ? 10 : 100);
  const move = (/** @type {number} */ by) => {
    const x = Math.min(view.full[1], Math.max(view.full[0], (view.at ?? (from + to) / 2) + by));
    if (x < from) view.show(x, x + to - from);
    if (x > to) view.show(x - (to - from), x);
    view.point(x);
  };
  /** @type {Record<string, () => void>} */
  const keys = {
    ArrowRight: () => (event.shiftKey ? view.pan(0.25) : move(step)), ArrowLeft: () => (event.shiftKey ? view.pan(-0.25) : move(-step)),
    ArrowUp: () => view.zoom(2), ArrowDown: () => view.zoom(0.5), "+": () => view.zoom(2), "=": () => view.zoom(2), "-": () => view.zoom(0.5),
    PageUp: () => move(step), PageDown: () => move(-step), Home: () => move(from - (view.at ?? from)), End: () => move(to - (view.at ?? to)),
    0: () => view.reset(), Escape: () => view.reset(),
  };
  const act = event.ctrlKey || event.metaKey || event.altKey ? undefined : keys[event.key];
  act?.();
  return Boolean(act);
}

/**
 * One finger moves the cursor, or the plot once it is closer; two come closer; a wheel with Ctrl too.
 * @param {HTMLElement} over what is touched
 * @param {View} view
 * @param {(px: number) => number} place px from its left edge to a place across
 */
export function byHand(over, view, place) {
  /** @type {Map<number, number>} */
  const fingers = new Map();
  const left = (/** @type {PointerEvent | WheelEvent} */ event) => event.clientX - over.getBoundingClientRect().left;
  const share = (/** @type {number} */ px) => px / (over.clientWidth || 1);
  over.addEventListener("pointerdown", (event) => {
    if (event.pointerType === "mouse") return;
    fingers.set(event.pointerId, left(event));
    if (fingers.size === 1) view.point(place(left(event)));
  });
  over.addEventListener("pointermove", (event) => {
    const before = fingers.get(event.pointerId);
    if (before === undefined) return;
    const x = left(event);
    if (fingers.size === 1) view.zoomed ? view.pan(share(before - x)) : view.point(place(x));
    else {
      const other = [...fingers].find(([id]) => id !== event.pointerId)?.[1] ?? x;
      const wide = (/** @type {number} */ px) => Math.max(24, Math.abs(px - other));
      view.zoom(wide(x) / wide(before), place((x + other) / 2));
    }
    fingers.set(event.pointerId, x);
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave"]) over.addEventListener(end, (event) => fingers.delete(/** @type {PointerEvent} */ (event).pointerId));
  over.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && !event.shiftKey) return;
    event.preventDefault();
    if (event.ctrlKey) view.zoom(event.deltaY < 0 ? 1.25 : 0.8, place(left(event)));
    else view.pan(Math.sign(event.deltaY || event.deltaX) * 0.1);
  }, { passive: false });
  over.addEventListener("dblclick", () => view.reset());
}
