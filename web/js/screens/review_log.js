// The log of drives: words and filters to find one again, two to compare. Without the laptop, what this phone keeps.

import { get } from "../api.js";
import { h, say } from "../dom.js";
import { choose, typed } from "../parts/ask.js";
import { attempt, button, crumb, link, title } from "../parts/page.js";
import { room } from "../parts/room.js";
import { needWords, t } from "../words.js";
import { driveItem, drives } from "./start.js";

const PAGE = 30;
const WAIT_MS = 300;

/** @param {import("../main.js").Way} way */
export async function log(way) {
  const query = { text: "", revision: "", vehicle: "", since: "", until: "", complete: "", limit: PAGE, offset: 0 };
  let first;
  try {
    [first] = await Promise.all([get("log", query, AbortSignal.timeout(8000)), way.style("css/review.css"), needWords("reviewpage")]);
  } catch {
    return drives();
  }
  const list = h("ul", { class: "list" });
  const status = h("p", { class: "under", role: "status" });
  const more = h("div", { class: "acts small" });
  const acts = h("div", { class: "acts" });
  /** Both to compare, in the order they were chosen; null: nobody compares. @type {any[] | null} */
  let two = null;
  let turn = 0;
  let timer = 0;

  /** @param {any} found @param {boolean} on */
  function show({ total, drives: some }, on = false) {
    if (!on) list.replaceChildren();
    list.append(...some.map(entry));
    say(status, two !== null ? t("log.pick") : t(total === 0 ? "log.none" : total === 1 ? "log.one" : "log.many", { n: total }));
    list.hidden = total === 0;
    more.replaceChildren(...(list.childElementCount < total ? [button(t("log.more"), () => {
      query.offset = list.childElementCount;
      ask(true);
    }, "")] : []));
  }
  /** @param {any} one */
  function entry(one) {
    const li = driveItem({ ...one, title: one.name || one.title });
    const where = [t("recipe.revision", { n: one.recipe.revision }), one.vehicle].filter(Boolean).join(", ");
    li.querySelector("p")?.after(h("p", { class: "mini" }, where), one.note ? h("p", { class: "mini note" }, one.note) : "");
    li.addEventListener("click", (event) => {
      if (two === null) return;
      event.preventDefault();
      const at = two.findIndex(({ id }) => id === one.id);
      if (at >= 0) two.splice(at, 1);
      else two.push(one);
      li.classList.toggle("picked", at < 0);
      li.querySelector("a")?.setAttribute("aria-current", String(at < 0));
      if (two.length === 2) {
        const [b, a] = two.sort((x, y) => String(x.started_at).localeCompare(String(y.started_at)));
        location.hash = `#/compare?a=${encodeURIComponent(a.id)}&b=${encodeURIComponent(b.id)}`;
      }
    });
    return li;
  }
  /** @param {boolean} [on] */
  function ask(on = false) {
    const mine = ++turn;
    if (!on) query.offset = 0;
    attempt(more, async () => {
      const found = await get("log", query);
      if (mine === turn) show(found, on);
    });
  }
  const later = () => {
    clearTimeout(timer);
    timer = setTimeout(ask, WAIT_MS);
  };
  const field = (/** @type {"text" | "vehicle" | "since" | "until" | "revision"} */ key, /** @type {Record<string, any>} */ attributes) => typed(t(`log.${key}`), { ...attributes, oninput: (/** @type {Event} */ { target }) => {
    query[key] = /** @type {HTMLInputElement} */ (target).value.trim();
    later();
  } }).container;
  function comparing() {
    acts.replaceChildren(...(two === null ? [button(t("log.compare"), () => {
      two = [];
      comparing();
      say(status, t("log.pick"));
    }, ""), link(t("drives.bundle"), "#/bundle", false)] : [button(t("log.leave"), () => {
      two = null;
      comparing();
      for (const li of list.querySelectorAll(".picked")) li.classList.remove("picked");
      ask();
    }, "")]));
    list.classList.toggle("picking", two !== null);
  }
  comparing();
  show(first);
  way.leave(() => clearTimeout(timer));
  if (!first.total) return h("main", { class: "page review" }, crumb({ to: "#/", back: t("start.back") }), title(t("drives.title")), h("p", { class: "under" }, t("drives.none")), h("div", { class: "grow" }), h("div", { class: "acts" }, link(t("drives.bundle"), "#/bundle", false)));
  return h("main", { class: "page review" }, crumb({ to: "#/", back: t("start.back") }), title(t("drives.title")),
    h("div", { class: "find" }, field("text", { type: "search", placeholder: t("log.words") })),
    h("details", { class: "rest-of choice-of" }, h("summary", {}, t("log.filters")), field("revision", { type: "number", min: 0, inputmode: "numeric" }), field("vehicle", { type: "text" }), field("since", { type: "date" }), field("until", { type: "date" }),
      choose(t("log.complete"), [["", t("log.either")], ["yes", t("log.yes")], ["no", t("log.no")]], "", (value) => {
        query.complete = value;
        ask();
      })),
    status, list, more, room(), h("div", { class: "grow" }), acts);
}
