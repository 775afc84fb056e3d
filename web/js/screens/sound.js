// Sound and look: what is heard and felt, in which units and language, in which light and hand. Kept on this phone.

import { act, get } from "../api.js";
import { h, say } from "../dom.js";
import { giveWay } from "../parts/back_to_drive.js";
import { problemOf } from "../parts/ear.js";
import { crumb, title } from "../parts/page.js";
import { pick } from "../parts/pick.js";
import { toggle } from "../parts/toggle.js";
import { choose, settings } from "../settings.js";
import { play, start as startSound } from "../sound.js";
import { TONES } from "../sound_tones.js";
import { follow, known } from "../store.js";
import { unitsChosen, unitsOf } from "../units.js";
import { canStayOn } from "../wake.js";
import { has, needWords, t } from "../words.js";

/** @param {import("../main.js").Way} way */
export async function sound(way) {
  const [about] = await Promise.all([get("about").catch(() => null), needWords("settings.page"), needWords("car"), way.style("css/send.css"), way.style("css/settings.css")]);
  const driving = way.params.get("from") === "drive";
  if (driving) giveWay(way);
  // Within the page only: an address is not a place to lead people away from.
  const back = /^#\/\w/.test(way.params.get("back") ?? "") ? way.params.get("back") ?? "" : undefined;
  const now = settings();
  const set = (/** @type {Partial<import("../settings.js").Settings>} */ change) => void choose(change);
  const reading = (/** @type {Partial<import("../settings.js").Settings>} */ change) => {
    choose(change);
    // What the driver reads belongs to the drive: all that watch it see the same.
    if (driving) act("read-as", { units: unitsChosen() }).catch(() => undefined);
  };
  const switchOf = (/** @type {"tones" | "vibrate" | "contrast"} */ name) => {
    const made = toggle(name, t(`sound.${name}`), has(`sound.${name}_text`) ? t(`sound.${name}_text`) : "", settings()[name], (on) => {
      set({ [name]: on });
      made.setAttribute("aria-checked", String(on));
      made.onclick = null;
      made.replaceWith(switchOf(name));
      document.getElementById(name)?.focus();
      if (name === "contrast") lightNow();
    });
    return made;
  };
  const state = h("p", { class: "mini", role: "status" });
  way.leave(follow(({ ear }) => {
    const problem = problemOf(ear);
    say(state, [problem ? t(`sound.is_${problem}`) : ear ? t("sound.is_on") : t("sound.is_unknown"), canStayOn() ? "" : t("sound.no_wake")].filter(Boolean).join(" "));
  }));
  // Opened by a tap: sound may begin here as well, so that each tone can be tried.
  startSound();
  const tones = h("details", { class: "try-tones" }, h("summary", {}, t("sound.try")), h("ul", {}, ...Object.keys(TONES).map((name) =>
    h("li", {}, h("button", { class: "act wide", type: "button", onclick: () => (startSound(), setTimeout(() => play(name), 50)) }, t(`sound.tone.${name}`))))));
  const volume = h("input", { type: "range", id: "volume", min: 0, max: 1, step: 0.1, value: now.volume, "aria-label": t("sound.volume"), oninput: () => set({ volume: Number(volume.value) }) });
  /** @type {[string, string][]} */
  const languages = (about?.languages ?? []).map((/** @type {any} */ one) => [one.code, one.name]);
  return h("main", { class: "page sound" }, crumb({ to: driving ? "#/drive" : (back ?? "#/"), back: t(driving ? "sound.back_drive" : back ? "sound.back_way" : "sound.back") }), title(t("sound.title")), state,
    pick("speech", t("sound.speech"), [["all", t("sound.speech_all")], ["alarms", t("sound.speech_alarms")], ["off", t("sound.speech_off")]], now.speech, (speech) => set({ speech })),
    h("label", { class: "volume", for: "volume" }, t("sound.volume"), volume),
    pick("units", t("sound.units"), [["metric", t("sound.units_metric")], ["metric-bar", t("sound.units_bar")], ["imperial", t("sound.units_imperial")]], now.units || likeRegion(), (units) => reading({ units })),
    pick("temperature", t("sound.temperature"), [["degC", t("sound.celsius")], ["degF", t("sound.fahrenheit")]], now.temperature || unitsOf(navigator.language).temperature, (temperature) => reading({ temperature })),
    pick("light", t("sound.light"), [["", t("sound.light_self")], ["day", t("sound.light_day")], ["night", t("sound.light_night")]], now.light, (light) => (set({ light }), lightNow())),
    pick("hand", t("sound.hand"), [["left", t("sound.hand_left")], ["right", t("sound.hand_right")]], now.hand, (hand) => set({ hand })),
    languages.length > 1 ? pick("language", t("sound.language"), languages, document.documentElement.lang, speak) : null,
    switchOf("tones"), tones, switchOf("vibrate"),
    pick("spoken", t("sound.spoken"), [["once", t("sound.spoken_once")], ["always", t("sound.spoken_always")], ["never", t("sound.spoken_never")]], now.spoken, (spoken) => set({ spoken })),
    switchOf("contrast"), h("div", { class: "grow" }));
}

/** Which of the choices the phone's region comes nearest to. */
function likeRegion() {
  const { speed, pressure } = unitsOf(navigator.language);
  return speed === "mph" ? "imperial" : pressure === "bar" ? "metric-bar" : "metric";
}

/** Draws the light that is chosen, at once. */
function lightNow() {
  const { light, contrast } = settings();
  const dark = light ? light === "night" : matchMedia("(prefers-color-scheme: dark)").matches;
  const more = contrast || matchMedia("(prefers-contrast: more)").matches;
  document.documentElement.dataset.light = more ? (dark ? "contrast-night" : "contrast") : dark ? "night" : "day";
}

/** Another language: the page is loaded anew in it, and the drive goes on in it. @param {string} language */
async function speak(language) {
  choose({ language });
  document.documentElement.lang = language;
  if (known.live && !["none", "ended"].includes(known.live.drive.phase)) await act("read-as", {}).catch(() => undefined);
  location.reload();
}
