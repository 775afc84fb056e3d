// What the check says, under the sentence: what can be met and at what speed, what is wrong and how to put it right.

import { h } from "../dom.js";
import { mark } from "../parts/signs.js";
import { t, upper } from "../words.js";

const MOST = 6;

/** @param {"ok" | "no" | "hm"} how @param {...(string | Node | null)} text */
function line(how, ...text) {
  const [shape, word] = /** @type {Record<string, [string, string]>} */ ({ ok: ["secured", t("write.good")], no: ["cross", t("write.bad")], hm: ["mind", t("write.mind")] })[how];
  return h("li", {}, mark(shape, word, how), h("div", {}, ...text));
}

/**
 * @param {any} look what the server said of the text
 * @param {number} place the capture that is written; -2 for the recipe as a whole
 * @param {{changes: {text: string}[], n: number} | null} since what changed since the revision before
 */
export function says(look, place, since) {
  const here = look.findings.filter((/** @type {any} */ one) => place === -2 || one.place === null || one.place === place);
  const elsewhere = look.findings.length - here.length;
  const empty = Boolean(look.data) && !look.data.capture?.length;
  if (empty) return [];
  const lines = here.slice(0, MOST).map((/** @type {any} */ one) => line(one.level === "error" ? "no" : "hm",
    h("span", {}, one.line && place === -2 ? t("write.line", { n: one.line, text: upper(one.message) }) : upper(one.message)), one.change ? h("small", {}, one.change) : null));
  const plan = look.plan?.captures[place];
  if (!here.some((/** @type {any} */ one) => one.level === "error") && look.plan) {
    const met = [t(place === -2 ? "write.ok_all" : "write.ok"), plan?.need_text, plan?.course_text].filter(Boolean).join(" ");
    lines.unshift(line("ok", h("span", {}, met)));
  }
  if (elsewhere) lines.push(line("hm", h("span", {}, t(elsewhere === 1 ? "write.elsewhere_one" : "write.elsewhere", { n: elsewhere }))));
  if (since) {
    lines.push(h("li", { class: "wide" }, h("h2", {}, t("write.changed", { n: since.n })),
      since.changes.length ? h("ul", {}, ...since.changes.map(({ text }) => h("li", {}, `${text}.`))) : h("p", {}, t("write.nothing_changed"))));
  }
  return lines;
}
