// Ready: can we start? Link, signals, engine, road, room; each mark is filled as soon as it is known.

import { get, post, seg } from "../api.js";
import { h } from "../dom.js";
import { InCar } from "../parts/in_car.js";
import { attempt, button, crumb, item, link, problem, title } from "../parts/page.js";
import { Rates } from "../parts/rates.js";
import { telling } from "../parts/telling.js";
import { mark } from "../parts/signs.js";
import { speeds } from "../parts/speeds.js";
import { count, needWords, t, upper } from "../words.js";

const ORDER = ["link", "signals", "engine", "road", "room"];
/** @type {Record<string, [string, string, string]>} shape, class, key of its word */
const STATES = { ok: ["secured", "ok", "mark.ok"], warn: ["mind", "hm", "mark.warn"], bad: ["cross", "no", "mark.bad"], looking: ["ring", "", "mark.looking"], todo: ["todo", "", "mark.todo"] };
/** Between two questions while something is still looked for, in milliseconds. */
const AGAIN_MS = 500;

/** @param {import("../main.js").Way} way */
export async function ready(way) {
  await Promise.all([needWords("link.page"), needWords("speeds.page"), way.style("css/link.css"), way.style("css/plan.css")]);
  const recipe = way.params.get("recipe") ?? "";
  const query = { recipe, source: way.params.get("source") ?? "" };
  const rest = `recipe=${seg(recipe)}&source=${seg(query.source)}&speed=${seg(way.params.get("speed") ?? "1")}`;
  const heading = title(t("ready.looking"));
  const under = h("p", { class: "under", role: "status" }, t("ready.looking_text"));
  const list = h("ul", { class: "list" });
  const acts = h("div", { class: "acts" });
  const tell = telling();
  const page = h("main", { class: "page" }, crumb({ to: `#/recipe?sha=${seg(recipe)}&source=${seg(query.source)}`, back: t("recipe.back"), here: t("page.step", { n: 1, of: 3 }) }), heading, under, list, tell.container, speeds(query), h("div", { class: "grow" }), acts);
  /** Made once, so that nothing typed is lost while the marks are asked for again. @type {InCar | null} */
  let inCar = null;
  const show = (/** @type {any[]} */ marks) => {
    const looking = marks.some(({ state }) => state === "looking" || state === "todo");
    const bad = marks.filter(({ state }) => state === "bad");
    const mind = marks.some(({ id, state }) => state === "warn" && (id === "signals" || id === "identity"));
    const head = bad.length === 1 ? "ready.blocked_one" : "ready.blocked";
    heading.textContent = looking ? t("ready.looking") : bad.length ? t(head, { n: upper(count(bad.length)) }) : t("ready.good");
    under.textContent = looking ? t("ready.looking_text") : bad.length ? t("ready.blocked_text") : t(mind ? "ready.mind_text" : "ready.good_text");
    tell.update(looking ? [] : bad.map(({ id, text }) => `${t(`ready.${id}`)}: ${text}`), heading.textContent);
    const told = marks.find(({ id }) => id === "identity");
    if (told) inCar ??= new InCar(told.flashed ?? null);
    list.replaceChildren(...marks.map(({ id, text, state, rates }) => {
      const [shape, classes, word] = STATES[state] ?? STATES.todo;
      const one = item(mark(shape, t(word), classes), t(`ready.${id}`), text);
      if (id === "identity" && inCar) one.lastElementChild?.append(inCar.container);
      if (rates?.length) one.lastElementChild?.append(expected(rates));
      return one;
    }));
    const other = link(t("ready.other"), `#/source?recipe=${seg(recipe)}`, false);
    const next = link(t("ready.next"), `#/who?${rest}`);
    next.addEventListener("click", () => next.setAttribute("href", `#/who?${rest}${inCar?.params() ?? ""}`));
    acts.replaceChildren(...(looking ? [link(t("ready.stop"), "#/", false)] : !bad.length ? [next] : query.source.startsWith("link:") ? [button(t("ready.again"), () => attempt(acts, again)), other] : [other]));
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
  /** The car is looked for anew: something was plugged in, or another tester was unplugged. */
  const again = async () => {
    await post(`links/${seg(query.source)}/retry`, {});
    show(ORDER.map((id, n) => ({ id, state: n ? "todo" : "looking", text: n ? t("ready.not_asked") : "" })));
    ask();
  };
  ask();
  return page;
}

/** How often each signal will come, for whoever wants to know. @param {any[]} rates */
function expected(rates) {
  const list = new Rates();
  list.update(rates.map(({ name, asked_hz, expected_hz, enough, offered }) => ({ name, asked_hz, hz: expected_hz, enough, offered })));
  return h("details", { class: "told" }, h("summary", {}, t("rates.show")), list.container);
}
