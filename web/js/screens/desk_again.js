// Judge all again: every bundle that came, by another recipe, beside what it was before. Nothing that came is changed.

import { get, post, seg } from "../api.js";
import { h } from "../dom.js";
import * as drafts from "../desk/draft.js";
import { frame, verb } from "../desk/frame.js";
import { attempt, problem } from "../parts/page.js";
import { mark } from "../parts/signs.js";
import { t } from "../words.js";

const POLL_MS = 700;

/** @param {import("../main.js").Way} way */
export async function again(way) {
  const [state, { customers }] = await Promise.all([get("desk/again"), get("desk/customers")]);
  const draft = drafts.load();
  const sent = customers.flatMap((/** @type {any} */ one) => one.revisions.filter((/** @type {any} */ each) => each.sha256).map((/** @type {any} */ each) => ({ customer: one.customer, ...each })));
  const by = h("select", { class: "slot", "aria-label": t("again.by") }, h("option", { value: "" }, t("again.own")), draft ? h("option", { value: "draft", selected: true }, t("again.draft")) : null,
    ...sent.map((/** @type {any} */ one, /** @type {number} */ n) => h("option", { value: String(n) }, `${one.customer}, ${t("desk.revision", { n: one.revision })}`)));
  const heading = h("h2", { class: "verdict", "aria-live": "polite" }, t("again.title"));
  const bar = h("progress", { max: 1, value: 0, hidden: true, "aria-label": t("again.title") });
  const under = h("p", { class: "under" }, t("again.under"));
  const found = h("div", {});
  const acts = h("div", { class: "doing" });
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  let waiting;

  async function begin() {
    let text = null;
    if (by.value === "draft") text = draft?.text ?? null;
    else if (by.value) {
      const one = sent[Number(by.value)];
      const { asked } = await get("desk/customer", { name: one.customer });
      text = asked.find((/** @type {any} */ each) => each.sha256 === one.sha256)?.text ?? null;
    }
    show(await post("desk/again", { text }));
  }

  /** @param {any} now */
  function show(now) {
    if (!way.current()) return;
    const running = now.state === "running";
    bar.hidden = !running;
    bar.max = Math.max(1, now.total);
    bar.value = now.done;
    acts.replaceChildren(running ? verb(t("again.stop"), () => attempt(acts, async () => show(await post("desk/again/stop")))) : verb(t("again.start"), () => attempt(acts, begin), true));
    if (running) {
      heading.textContent = t("again.running", { n: now.done, of: now.total });
      found.replaceChildren();
      waiting = setTimeout(poll, POLL_MS);
    } else if (now.state === "failed") heading.textContent = t("again.failed", { why: now.error });
    else if (now.state === "done") {
      const drives = now.rows.flatMap((/** @type {any} */ row) => row.drives);
      const met = drives.filter((/** @type {any} */ drive) => drive.captures.every((/** @type {any} */ c) => c.qualified >= c.asked)).length;
      heading.textContent = t("again.done", { n: met, of: drives.length });
      under.textContent = now.bad ? t("again.bad", { n: now.bad }) : t("again.under");
      found.replaceChildren(h("ul", { class: "list" }, ...now.rows.map(row)));
    }
  }

  /** @param {any} one */
  function row(one) {
    const captures = one.drives.flatMap((/** @type {any} */ drive) => drive.captures);
    const good = !one.error && captures.every((/** @type {any} */ c) => c.qualified >= c.asked);
    const told = captures.filter((/** @type {any} */ c) => c.was !== c.qualified && (c.was !== null || c.qualified < c.asked));
    const said = told.map((/** @type {any} */ c) => t(c.was === null ? "customer.counts" : "again.now", { title: c.id, n: c.qualified, of: c.asked, was: c.was ?? 0 }));
    const shape = one.error ? "cross" : good ? "secured" : "missed";
    return h("li", { class: "item" }, h("div", { class: "marks" }, mark(shape, t(good ? "customer.good" : "customer.problem"), good ? "ok" : "")),
      h("div", {}, h("h2", {}, h("a", { href: `#/desk/customer?name=${seg(one.customer)}` }, one.customer || one.file)),
        h("p", {}, one.error ?? (said.join("; ") || t("again.same")))));
  }

  async function poll() {
    try {
      show(await get("desk/again"));
    } catch (error) {
      found.replaceChildren(problem(error));
    }
  }

  way.leave(() => clearTimeout(waiting));
  show(state);
  return frame({ to: "#/desk", back: t("desk.back"), title: t("again.title") },
    h("div", { class: "panes one" }, h("section", { class: "work" }, h("div", { class: "answer" }, heading, bar, under, h("label", { class: "field" }, h("span", {}, t("again.by")), by), acts, found))));
}
