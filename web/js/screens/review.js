// The screens that open from a verdict: each is loaded when it is asked for.

/** @typedef {(way: import("../main.js").Way) => Promise<HTMLElement>} Screen */

/** @type {Record<string, () => Promise<Screen>>} */
const SCREENS = {
  traces: async () => (await import("./review_traces.js")).traces,
  figures: async () => (await import("./review_figures.js")).figures,
  power: async () => (await import("./review_power.js")).power,
  coverage: async () => (await import("./review_coverage.js")).coverage,
  health: async () => (await import("./review_health.js")).health,
  compare: async () => (await import("./review_compare.js")).compare,
  label: async () => (await import("./review_label.js")).label,
  drives: async () => (await import("./review_log.js")).log,
};

/** @param {string} name @returns {Promise<Screen>} */
export const screen = (name) => SCREENS[name]();
