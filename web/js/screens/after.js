// Afterwards: drive again, or send? The verdict, the drive as a strip, each capture with its attempts and reasons.

import { get, seg } from "../api.js";
import { h } from "../dom.js";
import { crumb, link, title } from "../parts/page.js";
import { mark } from "../parts/signs.js";
import { portrait } from "../parts/portrait.js";
import { wholeDrive, windowOf } from "../parts/whole_drive.js";
import { clock, count, has, t, upper } from "../words.js";

/** @typedef {import("../types.js").Attempt} Attempt */

/**
 * Verdict and recipe of one drive.
 * @param {string} id
 */
export async function review(id) {
  const [verdict, drive] = await Promise.all([get(`drives/${seg(id)}/attempts`), get(`drives/${seg(id)}`).catch(() => ({}))]);
  const asked = await get(`recipes/${seg(verdict.recipe.sha256)}`).catch(() => ({ captures: [] }));
  /** @type {Map<string, import("../types.js").RecipeCapture>} */
  const captures = new Map(asked.captures.map((/** @type {any} */ one) => [one.id, one]));
  return { verdict: /** @type {import("../types.js").Verdict} */ (verdict), drive, captures, titleOf: (/** @type {string} */ capture) => captures.get(capture)?.title ?? capture };
}

/** How long an attempt counted, as people read it. @param {Attempt} attempt @param {string} kind */
export function length(attempt, kind) {
  return kind === "sweep" ? t("after.seconds", { s: attempt.duration_s.toFixed(1) }) : clock(attempt.duration_s);
}

/**
 * One attempt in a sentence: how long, then why it ended.
 * @param {Attempt} attempt
 * @param {string} kind
 */
export function sentence(attempt, kind) {
  const did = t(attempt.outcome === "secured" ? (kind === "sweep" ? "after.pulled" : "after.held") : "after.came", { length: length(attempt, kind) });
  return [did, why(attempt)].filter(Boolean).join(" ");
}

/** Why it ended; what ends a secured window is no fault of it. @param {Attempt} attempt */
export function why({ outcome, reason }) {
  if (!reason?.text) return "";
  return outcome === "secured" ? t("after.ended", { text: reason.text }) : reason.text;
}

/** @param {import("../types.js").Verdict} verdict */
export function verdictLine({ captures }) {
  const good = captures.filter((one) => one.qualified >= one.asked).length;
  if (captures.length === 1) return t(good ? "after.the_one" : "after.not_the_one");
  const values = { n: upper(count(good)), of: count(captures.length), all: count(captures.length) };
  return t(good === captures.length ? "after.all" : good ? "after.some" : "after.none", values);
}

/** @param {import("../main.js").Way} way */
export async function after(way) {
  way.style("css/review.css");
  const id = way.params.get("drive") ?? "";
  const { verdict, captures, titleOf } = await review(id);
  const open = verdict.captures.filter((one) => one.qualified < one.asked);
  const items = await Promise.all(verdict.captures.map((one) => captureItem(id, one, captures.get(one.id))));
  const redo = open.length ? link(t(open.length === 1 ? "after.again_one" : "after.again", { title: titleOf(open[0]?.id) }), `#/recipe?sha=${seg(verdict.recipe.sha256)}`) : null;
  return h("main", { class: "page review" },
    crumb({ to: "#/drives", back: t("drives.title"), here: t("page.minutes", { n: Math.max(1, Math.round(verdict.drive.duration_s / 60)) }) }),
    title(verdictLine(verdict)),
    h("p", { class: "under" }, open.length ? t("after.still", { titles: open.map((one) => titleOf(one.id)).join(", ") }) : t("after.saved")),
    wholeDrive(id, verdict, titleOf), h("ul", { class: "list" }, ...items), h("div", { class: "grow" }),
    h("div", { class: "acts" }, redo ?? link(t("after.start"), "#/")));
}

/**
 * @param {string} drive
 * @param {import("../types.js").Verdict["captures"][0]} one
 * @param {import("../types.js").RecipeCapture | undefined} asked
 */
async function captureItem(drive, one, asked) {
  const kind = asked?.kind ?? "hold";
  const attempts = one.attempts.map((attempt, index) => ({ attempt, number: attempt.number ?? index }));
  const secured = attempts.filter(({ attempt }) => attempt.outcome === "secured");
  const best = secured[0] ?? [...attempts].sort((a, b) => b.attempt.duration_s - a.attempt.duration_s)[0];
  const outcome = one.qualified >= one.asked ? "secured" : (best?.attempt.outcome ?? "todo");
  const shown = one.qualified >= one.asked ? "secured" : outcome === "secured" ? "running" : outcome;
  const drawn = secured.length ? secured.slice(0, Math.max(1, one.asked)) : best ? [best] : [];
  /** @type {Parameters<typeof portrait>[0]} */
  const lanes = await Promise.all(drawn.map(async ({ attempt, number }) => {
    const points = (await get(`drives/${seg(drive)}/lane`, { capture: one.id, number }).catch(() => null))?.points;
    return { kind, place: asked?.place, limited: asked?.limited, outcome: attempt.outcome, points: points?.length > 1 ? points : undefined };
  }));
  while (lanes.length < Math.max(1, one.asked)) lanes.push({ kind, place: asked?.place, limited: asked?.limited, outcome: "todo", points: undefined });
  const remedy = !secured.length || one.qualified < one.asked ? (best?.attempt.reason?.remedy ?? "") : "";
  const tries = attempts.filter(({ attempt }) => !attempt.small);
  const small = attempts.length - tries.length;
  return h("li", { class: "item drawn" }, portrait(lanes),
    h("div", {}, h("h2", {}, mark(shown, t(`outcome.${shown}`)), asked?.title ?? one.id),
      h("p", {}, summary(one, secured.map(({ attempt }) => attempt), best?.attempt, kind), remedy ? ` ${remedy}` : ""),
      tries.length ? h("details", { class: "tries" },
        h("summary", {}, mark("back"), t(tries.length === 1 ? "after.try" : "after.tries", { n: tries.length })),
        h("ul", {}, ...tries.map(({ attempt, number }) => h("li", {}, tryLine(drive, one.id, attempt, number, kind)))),
        small ? h("p", { class: "mini" }, t("after.small", { n: small })) : null) : null));
}

/**
 * @param {import("../types.js").Verdict["captures"][0]} one
 * @param {Attempt[]} secured
 * @param {Attempt | undefined} best
 * @param {string} kind
 */
function summary(one, secured, best, kind) {
  const lengths = secured.map((attempt) => length(attempt, kind)).join(t("after.and"));
  if (one.qualified >= one.asked) {
    const key = one.asked > 1 ? "after.qualified_times" : kind === "sweep" ? "after.qualified_sweep" : "after.qualified";
    return t(key, { n: has(`times.${secured.length}`) ? t(`times.${secured.length}`) : t("times.n", { n: count(secured.length) }), lengths });
  }
  if (secured.length) return t("after.part", { n: secured.length, of: one.asked, lengths });
  return best ? `${upper(t(`outcome.${best.outcome}`))}. ${sentence(best, kind)}` : t("after.never");
}

/**
 * @param {string} drive
 * @param {string} capture
 * @param {Attempt} attempt
 * @param {number} number
 * @param {string} kind
 */
function tryLine(drive, capture, attempt, number, kind) {
  const out = (attempt.excursions ?? []).length;
  return h("a", { class: "try", href: windowOf(drive, capture, number) }, mark(attempt.outcome, t(`outcome.${attempt.outcome}`)),
    h("div", {}, h("b", {}, t("after.at", { time: clock(attempt.start_s) })), " ", sentence(attempt, kind), out ? h("small", {}, t(out === 1 ? "after.excursion" : "after.excursions", { n: out })) : null));
}
