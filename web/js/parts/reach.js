// The line over a parked screen that says how far the laptop can be reached, and what this phone cannot do just now.

import { h, say } from "../dom.js";
import * as kept from "../kept.js";
import { follow } from "../store.js";
import { needWords, t } from "../words.js";
import { mark } from "./marks.js";

/** Screens on which it is said what keeping on this phone has come to. */
const REVIEWS = new Set(["after", "window", "drives"]);

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
  const text = document.createTextNode("");
  const line = h("p", { class: "reach", role: "status", hidden: true }, mark("ring"), h("span", {}, text));
  const crumb = screen.querySelector(".crumb");
  if (crumb) crumb.after(line);
  else screen.prepend(line);
  way.leave(follow(({ phone }) => {
    const now = phone.lost ? gone(screen) : phone.back || notKept(path);
    say(text, now);
    line.hidden = !now;
    line.classList.toggle("gone", phone.lost);
  }));
}

/** @param {HTMLElement} screen */
function gone({ dataset }) {
  if (!dataset.keptAt) return t("reach.gone");
  const when = new Date(Number(dataset.keptAt)).toLocaleString(document.documentElement.lang, { dateStyle: "medium", timeStyle: "short" });
  return `${t("reach.saved")} ${t("reach.kept_at", { when })}`;
}

/** @param {string} path */
function notKept(path) {
  if (path === "" && !isSecureContext) return t("reach.plain");
  return REVIEWS.has(path) && kept.trouble ? t(`reach.${kept.trouble}`) : "";
}
