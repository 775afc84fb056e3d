// Prove: would a drive made before have met this, what would have stopped it, and how little less would have done.

import { get, post } from "../api.js";
import { h } from "../dom.js";
import * as drafts from "../desk/draft.js";
import { frame, verbTo, when } from "../desk/frame.js";
import { problem } from "../parts/page.js";
import { mark } from "../parts/signs.js";
import { t, upper } from "../words.js";

const MOST_LESS = 4;

/** @param {import("../main.js").Way} way */
export async function prove(way) {
  const draft = drafts.load();
  if (!draft) {
    way.go("#/desk");
    return h("main", {});
  }
  const [{ drives }, { sources }, { customers }] = await Promise.all([get("drives"), get("sources"), get("desk/customers")]);
  const heading = h("h2", { class: "verdict", tabindex: -1 }, t("prove.title"));
  const under = h("p", { class: "under", role: "status" }, t("prove.under"));
  const found = h("div", { class: "found" });
  /** @type {HTMLButtonElement | null} */
  let on = null;
  let turn = 0;

  /** @param {string} title @param {{name: string, under: string, ask: object}[]} items */
  const group = (title, items) => (items.length ? [h("h2", {}, title), h("ul", { class: "drives" }, ...items.map(({ name, under: small, ask }) => {
    const button = h("button", { class: "cap plain", type: "button", "aria-pressed": "false", onclick: () => choose(button, ask) }, h("span", {}, name, h("small", {}, small)));
    return h("li", {}, button);
  }))] : []);

  const recorded = sources.filter((/** @type {any} */ one) => one.kind === "replay");
  const came = customers.flatMap((/** @type {any} */ one) => one.bundles.map((/** @type {any} */ bundle) => ({ name: one.customer || bundle.file, under: when(new Date(bundle.wall_us / 1000).toISOString()), ask: { kind: "bundle", id: bundle.sha256 } })));
  const own = drives.filter((/** @type {any} */ one) => one.phase === "ended" && one.samples).map((/** @type {any} */ one) => ({ name: one.title, under: when(one.started_at), ask: { kind: "drive", id: one.id } }));
  const lists = [...group(t("prove.came"), came), ...group(t("prove.own"), own), ...group(t("prove.recorded"), recorded.map((/** @type {any} */ one) => ({ name: one.title, under: one.text, ask: { kind: "source", id: one.id } })))];

  /** @param {HTMLButtonElement} button @param {object} ask */
  function choose(button, ask) {
    on?.setAttribute("aria-pressed", "false");
    on = button;
    on.setAttribute("aria-pressed", "true");
    judge(ask, t("prove.under"));
  }

  /** @param {object} ask @param {string} after what is said once it is judged */
  async function judge(ask, after) {
    const mine = ++turn;
    heading.textContent = t("prove.trying");
    under.textContent = "";
    found.replaceChildren();
    try {
      const made = await post("desk/prove", { text: draft?.text, ...drafts.inCar(/** @type {any} */ (draft)), ...ask });
      if (mine === turn && way.current()) show(made, ask, after);
    } catch (error) {
      if (mine !== turn || !way.current()) return;
      heading.textContent = t("prove.title");
      found.replaceChildren(problem(error));
    }
  }

  /** @param {any} made @param {object} ask @param {string} after */
  function show({ verdict, less }, ask, after) {
    const { captures } = verdict;
    const met = captures.filter((/** @type {any} */ one) => one.qualified >= one.asked).length;
    heading.textContent = met === captures.length ? t("prove.all") : met ? t("prove.some", { n: met, of: captures.length }) : t("prove.none");
    under.textContent = after;
    found.replaceChildren(h("ul", { class: "list" }, ...captures.map((/** @type {any} */ one) => capture(one, less[one.id], ask))));
    heading.focus({ preventScroll: true });
  }

  /** @param {any} one @param {any[] | undefined} less @param {object} ask */
  function capture(one, less, ask) {
    const best = one.attempts.find((/** @type {any} */ attempt) => attempt.number === one.best) ?? one.attempts.at(-1);
    const good = one.qualified >= one.asked;
    const outcome = good ? "secured" : one.qualified ? "running" : (best?.outcome ?? "todo");
    const said = good || one.qualified ? t(one.asked > 1 ? "prove.met_times" : "prove.met", { n: one.qualified, of: one.asked }) : (best?.reason?.text ?? one.never?.text ?? t("prove.no_attempt"));
    return h("li", { class: "item" }, h("div", { class: "marks" }, mark(outcome, t(`outcome.${outcome}`), good ? "ok" : "")),
      h("div", {}, h("h2", {}, one.title), h("p", {}, upper(said)),
        less?.length ? h("p", { class: "why" }, t("prove.less")) : less && !one.qualified ? h("p", { class: "why" }, t("prove.no_less")) : null,
        less?.length ? h("ul", { class: "less" }, ...less.slice(0, MOST_LESS).map((each) => h("li", {}, h("span", {}, each.text), h("button", { class: "act", type: "button", onclick: () => use(each, ask) }, t("prove.use"))))) : null));
  }

  /** @param {any} each @param {object} ask */
  async function use({ edits }, ask) {
    if (!draft) return;
    try {
      const made = await post("desk/edit", { text: draft.text, edits, ...drafts.inCar(draft) });
      draft.text = made.text;
      drafts.save(draft);
    } catch (error) {
      found.prepend(problem(error));
      return;
    }
    judge(ask, t("prove.used"));
  }

  way.leave(() => { turn += 1; });
  return frame({ to: "#/desk/write", back: t("prove.back"), title: t("prove.title"), acts: [verbTo(t("prove.back"), "#/desk/write"), verbTo(t("write.send"), "#/desk/send", true)] },
    h("div", { class: "panes two" }, h("section", { class: "side" }, ...(lists.length ? lists : [h("p", { class: "under" }, t("prove.nothing"))])), h("section", { class: "work" }, h("div", { class: "answer" }, heading, under, found))));
}
