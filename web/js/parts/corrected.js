// Power put to standard air by named standards, always beside the figure as it was driven.

import { t } from "../words.js";
import { grid } from "./grid.js";

/**
 * @typedef {{standard: string, name: string, factor: number | null, low: number | null, high: number | null, valid: boolean, note: string, uncorrected_kw: number | null, peak_kw: number | null}} Correction
 *
 * @param {Correction[]} all
 * @param {string} [of] whose
 */
export function corrected(all, of = "") {
  return grid({
    id: "corrections", title: of ? t("power.corrected_of", { of }) : t("power.corrected"), note: "",
    columns: [{ id: "name", name: t("power.standard"), unit: "" }, { id: "raw", name: t("power.raw"), unit: "kW" }, { id: "factor", name: t("power.factor"), unit: "" }, { id: "peak", name: t("power.put"), unit: "kW" }, { id: "note", name: t("power.note"), unit: "" }],
    rows: all.map((one) => [one.name, one.uncorrected_kw, one.factor === null ? null : one.low === null ? one.factor : t("power.between", { factor: one.factor, low: one.low, high: /** @type {number} */ (one.high) }), one.peak_kw, [one.valid ? "" : t("power.not_valid"), one.note].filter(Boolean).join(" ")]),
  });
}
