// Revisions in a row, each capture with the mark that it came to; the words stand in the marks' names.

import { h } from "../dom.js";
import { mark } from "../parts/signs.js";
import { t } from "../words.js";

/** @param {{revision: number, sent: boolean, captures: {title: string, mark: string}[]}[]} revisions */
export function chain(revisions) {
  return h("div", { class: "chain" }, ...revisions.slice(-4).map(({ revision, sent, captures }) => h("div", { class: "rev" },
    h("small", {}, t(sent ? "desk.revision" : "desk.begun", { n: revision })),
    h("div", { class: "blocks" }, ...captures.map((capture) => mark(capture.mark, `${capture.title}: ${t(`desk.mark.${capture.mark}`)}`))))));
}
