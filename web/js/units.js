// What a person reads: as chosen on this phone, else as the phone's own region reads.

import { settings } from "./settings.js";

/** @typedef {{speed: "km/h" | "mph", pressure: "kPa" | "bar" | "psi", temperature: "degC" | "degF"}} Units */

/** @type {Record<string, Units>} */
const SETS = {
  metric: { speed: "km/h", pressure: "kPa", temperature: "degC" },
  "metric-bar": { speed: "km/h", pressure: "bar", temperature: "degC" },
  imperial: { speed: "mph", pressure: "psi", temperature: "degC" },
};
/** Regions that read degrees Fahrenheit, and miles an hour (Unicode CLDR's measurement data, from memory). */
const FAHRENHEIT = new Set(["US", "BS", "BZ", "KY", "PW", "PR", "GU", "VI", "AS", "LR", "FM", "MH"]);
const MILES = new Set([...FAHRENHEIT, "GB", "WS", "VG", "TC"]);

/**
 * What a region reads.
 * @param {string} locale as in `en-GB`
 * @returns {Units}
 */
export function unitsOf(locale) {
  const region = regionOf(locale);
  const made = { ...(MILES.has(region) ? SETS.imperial : SETS.metric) };
  if (region === "GB") made.pressure = "bar";
  if (FAHRENHEIT.has(region)) made.temperature = "degF";
  return made;
}

/** @param {string} locale */
function regionOf(locale) {
  try {
    return new Intl.Locale(locale).region ?? "";
  } catch {
    return ""; // a tag that nobody knows
  }
}

/** What is chosen here, or by the region where it does not read kilometres and Celsius; null leaves it to the car's file. */
export function unitsChosen() {
  const { units, temperature } = settings();
  const own = unitsOf(navigator.language);
  const usual = Object.entries(SETS.metric).every(([name, unit]) => own[/** @type {keyof Units} */ (name)] === unit);
  if (!units && !temperature && usual) return null;
  const made = { ...(units ? SETS[units] : own) };
  if (temperature) made.temperature = temperature;
  else if (units && units !== "imperial") made.temperature = "degC";
  else made.temperature = own.temperature;
  return made;
}

/** The header by which sentences come in these units. @returns {Record<string, string>} */
export function unitsHeader() {
  const chosen = unitsChosen();
  return chosen ? { "x-units": `${chosen.speed},${chosen.pressure},${chosen.temperature}` } : {};
}
