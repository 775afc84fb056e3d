// What stands around a verdict: what it rests on, and the ways deeper. It judges nothing itself.

import { seg } from "../api.js";
import { h } from "../dom.js";
import { t } from "../words.js";
import { mark } from "./signs.js";

/**
 * Identity, codes, declared facts, air: one line, and all of it when it is opened.
 * @param {string} drive
 * @param {boolean} away nothing can be written with the laptop away
 * @param {{head: {id: string, name: string, text: string, why: string}[], drive: {note: string}, notes: string[]}} review
 */
export function restsOn(drive, away, { head, drive: { note }, notes }) {
  const known = head.filter(({ text }) => text).map(({ text }) => text);
  return h("details", { class: "rests" }, h("summary", {}, mark("back"), h("span", {}, t("look.rests"), known.length ? h("small", {}, known.slice(0, 3).join(". ")) : null)),
    h("dl", { class: "inputs" }, ...head.map(({ name, text, why }) => h("div", {}, h("dt", {}, name), h("dd", {}, text || why)))),
    note ? h("p", { class: "mini note" }, note) : null, ...notes.map((text) => h("p", { class: "mini" }, text)),
    away ? null : h("a", { class: "deeper", href: `#/label?drive=${seg(drive)}` }, t("look.write")));
}

/** Limits that were passed; each sentence says when. @param {{sentence: string}[]} alarms */
export function alarmsOf(alarms) {
  return alarms.length ? h("section", { class: "group" }, h("h2", {}, t("look.alarms")), h("ul", { class: "unsaid" }, ...alarms.map(({ sentence }) => h("li", {}, mark("stopped", "", "no"), h("div", {}, sentence))))) : null;
}

/**
 * The ways deeper.
 * @param {string} drive
 * @param {boolean} away with the laptop away only what is kept here
 */
export function closer(drive, away) {
  const to = (/** @type {string} */ key, /** @type {string} */ href) => h("li", {}, h("a", { href }, mark("on"), t(`look.${key}`)));
  const id = seg(drive);
  return h("nav", { "aria-label": t("look.closer") }, h("h2", { class: "heard" }, t("look.closer")), h("ul", { class: "further" },
    ...(away ? [to("traces", `#/traces?drive=${id}`)] : [to("compare", `#/compare?a=${id}`), to("traces", `#/traces?drive=${id}`), to("coverage", `#/coverage?drive=${id}`), to("health", `#/health?drive=${id}`), to("write", `#/label?drive=${id}`),
    h("li", {}, h("a", { href: `api/drives/${id}/report?language=${document.documentElement.lang}`, download: `${drive}.html` }, mark("down"), t("look.report")))])));
}
