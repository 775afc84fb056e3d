// The line over a parked screen that says how far the laptop can be reached, and what this phone cannot do just now.

import { when as whenOf } from "../dates.js";
import { h, say } from "../dom.js";
import * as kept from "../kept.js";
import { mayGo } from "../keeping.js";
import { follow, known } from "../store.js";
import { needWords, t } from "../words.js";
import { mark } from "./marks.js";

/** Screens on which it is said what keeping on this phone has come to. */
const REVIEWS = new Set(["after", "window", "drives"]);
/** So long it is said that the laptop is back; on a screen that came from this phone it stays. */
const BACK_SHOWN_MS = 3000;

/**
 * Puts the line on top of a screen and keeps it true.
 * @param {HTMLElement} screen
 * @param {string} path
 * @param {import("../main.js").Way} way
 */
export async function attach(screen, path, way) {
  await Promise.all([needWords("offline"), way.style("css/kept.css")]);
  // The screen for that very thing says it itself, and larger.
  if (!way.current() || screen.dataset.offline !== undefined) return;
  if (path === "after") import("./kept_here.js").then(({ keptHere }) => keptHere(screen, way.params.get("drive") ?? "", way)).catch(() => undefined);
  const text = document.createTextNode("");
  const fresh = h("a", { class: "go", hidden: true, href: location.hash, onclick: (/** @type {Event} */ event) => (event.preventDefault(), way.go(location.hash)) }, t("reach.fresh"));
  const line = h("p", { class: "reach", role: "status", hidden: true }, mark("ring"), h("span", {}, text, " ", fresh));
  const crumb = screen.querySelector(".crumb");
  if (crumb) crumb.after(line);
  else screen.prepend(line);
  const own = Boolean(screen.dataset.keptAt);
  let was = known.phone.lost;
  let back = false;
  let risk = "";
  const draw = () => {
    const { phone } = known;
    if (was && !phone.lost) {
      back = true;
      if (!own) setTimeout(() => ((back = false), draw()), BACK_SHOWN_MS);
    }
    if (phone.lost) back = false;
    was = phone.lost;
    const now = phone.lost ? gone(screen) : phone.back || (back ? t("reach.back") : notKept(path) || risk);
    say(text, now);
    fresh.hidden = !(back && own);
    line.hidden = !now;
    line.classList.toggle("gone", phone.lost);
  };
  way.leave(follow(draw));
  if (path === "drives" && (await mayGo())) risk = t("reach.may_go");
  draw();
}

/** @param {HTMLElement} screen */
function gone({ dataset }) {
  if (!dataset.keptAt) return t("reach.gone");
  const when = whenOf(Number(dataset.keptAt));
  return `${t("reach.saved")} ${t("reach.kept_at", { when })}`;
}

/** @param {string} path */
function notKept(path) {
  if (path === "" && !isSecureContext) return t("reach.plain");
  return REVIEWS.has(path) && kept.trouble ? t(`reach.${kept.trouble}`) : "";
}
