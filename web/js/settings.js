// What a person has chosen on this phone: sound, units, language, hand, light. Kept on the phone, nowhere else.

/**
 * @typedef {object} Settings
 * @property {number} volume 0 to 1
 * @property {boolean} tones
 * @property {"all" | "alarms" | "off"} speech
 * @property {boolean} vibrate
 * @property {"once" | "always" | "never"} spoken whether units are spoken
 * @property {"" | "metric" | "metric-bar" | "imperial"} units empty: by the phone's own region
 * @property {"" | "degC" | "degF"} temperature empty: as the units or the region say
 * @property {string} language empty: the phone's own
 * @property {"left" | "right"} hand
 * @property {"" | "day" | "night"} light empty: by itself
 * @property {boolean} contrast
 */

/** @type {Settings} */
const USUAL = { volume: 1, tones: true, speech: "all", vibrate: true, spoken: "once", units: "", temperature: "", language: "", hand: "right", light: "", contrast: false };
const KEY = "settings";

/** @returns {Settings} */
export function settings() {
  try {
    const kept = JSON.parse(localStorage.getItem(KEY) ?? "{}");
    const known = Object.entries(kept).filter(([name, value]) => name in USUAL && typeof value === typeof USUAL[/** @type {keyof Settings} */ (name)]);
    return { ...USUAL, ...Object.fromEntries(known) };
  } catch {
    return { ...USUAL }; // storage may be shut: the usual stands
  }
}

/**
 * Keeps a change, and says what stands now. Light and hand also stand under names of their own, for the scripts that
 * need them before the first paint.
 * @param {Partial<Settings>} change
 */
export function choose(change) {
  const now = { ...settings(), ...change };
  const dark = now.light === "night" || (!now.light && matchMedia("(prefers-color-scheme: dark)").matches);
  const light = now.contrast ? (dark ? "contrast-night" : "contrast") : now.light;
  try {
    localStorage.setItem(KEY, JSON.stringify(now));
    localStorage.setItem("hand", now.hand);
    if (now.language) localStorage.setItem("language", now.language);
    else localStorage.removeItem("language");
    if (light) localStorage.setItem("light", light);
    else localStorage.removeItem("light");
  } catch {
    // It stands until the page is closed: the screen that asked draws it.
  }
  dispatchEvent(new CustomEvent("chosen", { detail: now }));
  return now;
}
