// Ready: can we start? Link, signals, engine, road, room; each mark is filled as soon as it is known.

import { get, seg } from "../api.js";
import { h } from "../dom.js";
import { crumb, item, link, problem, title } from "../parts/page.js";
import { mark } from "../parts/signs.js";
import { count, t, upper } from "../words.js";

const ORDER = ["link", "signals", "engine", "road", "room"];
/** @type {Record<string, [string, string, string]>} shape, class, key of its word */
const STATES = { ok: ["secured", "ok", "mark.ok"], warn: ["mind", "hm", "mark.warn"], bad: ["cross", "no", "mark.bad"], looking: ["ring", "", "mark.looking"], todo: ["todo", "", "mark.todo"] };
/** Between two questions while something is still looked for, in milliseconds. */
const AGAIN_MS = 500;

/** @param {import("../main.js").Way} way */
export function ready(way) {
  const recipe = way.params.get("recipe") ?? "";
  const query = { recipe, source: way.params.get("source") ?? "" };
  const rest = `recipe=${seg(recipe)}&source=${seg(query.source)}&speed=${seg(way.params.get("speed") ?? "1")}`;
  const heading = title(t("ready.looking"));
  const under = h("p", { class: "under", role: "status" }, t("ready.looking_text"));
  const list = h("ul", { class: "list" });
  const acts = h("div", { class: "acts" });
  const page = h("main", { class: "page" }, crumb({ to: `#/recipe?sha=${seg(recipe)}`, back: t("recipe.back"), here: t("page.step", { n: 1, of: 3 }) }), heading, under, list, h("div", { class: "grow" }), acts);
  const show = (/** @type {any[]} */ marks) => {
    const looking = marks.some(({ state }) => state === "looking" || state === "todo");
    const bad = marks.filter(({ state }) => state === "bad");
    const head = bad.length === 1 ? "ready.blocked_one" : "ready.blocked";
    heading.textContent = looking ? t("ready.looking") : bad.length ? t(head, { n: upper(count(bad.length)) }) : t("ready.good");
    under.textContent = t(looking ? "ready.looking_text" : bad.length ? "ready.blocked_text" : "ready.good_text");
    list.replaceChildren(...marks.map(({ id, text, state }) => {
      const [shape, classes, word] = STATES[state] ?? STATES.todo;
      return item(mark(shape, t(word), classes), t(`ready.${id}`), text);
    }));
    acts.replaceChildren(looking ? link(t("ready.stop"), "#/", false) : bad.length ? link(t("ready.other"), `#/source?recipe=${seg(recipe)}`, false) : link(t("ready.next"), `#/who?${rest}`));
    return looking;
  };
  show(ORDER.map((id, n) => ({ id, state: n ? "todo" : "looking", text: n ? t("ready.not_asked") : "" })));
  const ask = async () => {
    if (!way.current()) return;
    try {
      const answer = await get("ready", query);
      if (way.current() && show(answer.marks)) setTimeout(ask, AGAIN_MS);
    } catch (error) {
      list.after(problem(error));
      acts.replaceChildren(link(t("ready.other"), `#/source?recipe=${seg(recipe)}`, false));
    }
  };
  ask();
  return page;
}
