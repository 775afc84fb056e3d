// Afterwards: drive again, or send? The verdict, the drive as a strip, each capture with its attempts and reasons.

import { seg } from "../api.js";
import { h } from "../dom.js";
import { Reader } from "../kept.js";
import { alarmsOf, closer, restsOn } from "../parts/closer.js";
import { handing } from "../parts/handing.js";
import { crumb, link, title } from "../parts/page.js";
import { portrait } from "../parts/portrait.js";
import { mark } from "../parts/signs.js";
import { wholeDrive, windowOf } from "../parts/whole_drive.js";
import { filesOf } from "../share.js";
import { clock, count, decimal, has, needWords, t, upper } from "../words.js";

/** @typedef {import("../types.js").Attempt} Attempt */
/** @typedef {import("../types.js").VerdictCapture} VerdictCapture */
/** @typedef {{id: string, qualified: number, asked: number, outcome: string, sentence: string, remedy: string, send: {number: number, sentence: string} | null}} Said a capture as the review says it */

/** How long the verdict waits for the review's sentences; they are put in when they come later. */
const WAIT_MS = 1500;

/** @param {VerdictCapture} capture */
const isGood = ({ asked, qualified }) => qualified >= asked;

/**
 * How long an attempt counted, as people read it.
 * @param {Attempt} attempt
 * @param {string} kind
 */
export function length(attempt, kind) {
  return kind === "sweep" ? t("after.seconds", { s: decimal(attempt.duration_s, 1) }) : clock(attempt.duration_s);
}

/**
 * One attempt in a sentence: how long, then why it ended.
 * @param {Attempt} attempt
 * @param {string} kind
 */
export function sentence(attempt, kind) {
  const did = attempt.secured_s === null ? "after.came" : kind === "sweep" ? "after.pulled" : "after.held";
  return [t(did, { length: length(attempt, kind) }), why(attempt)].filter(Boolean).join(" ");
}

/**
 * Why it ended; what ends a secured window is no fault of it.
 * @param {Attempt} attempt
 */
export function why({ secured_s: secured, reason }) {
  if (!reason?.text) return "";
  return secured === null ? reason.text : t("after.ended", { text: reason.text });
}

/** @param {import("../types.js").Verdict} verdict */
export function verdictLine({ captures }) {
  const good = captures.filter(isGood).length;
  if (captures.length === 1) return t(good ? "after.the_one" : "after.not_the_one");
  const values = { n: upper(count(good)), of: count(captures.length), all: count(captures.length) };
  return t(good === captures.length ? "after.all" : good ? "after.some" : "after.none", values);
}

/** @param {import("../main.js").Way} way */
export async function after(way) {
  const id = way.params.get("drive") ?? "";
  const reader = new Reader();
  /** @type {[import("../types.js").Verdict, any, void, void, void]} */
  const [verdict, drive] = await Promise.all([reader.get(`drives/${seg(id)}/attempts`), reader.get(`drives/${seg(id)}`), way.style("css/review.css"), needWords("offline"), needWords("reviewpage")]);
  // The verdict stands by itself: the review puts numbers and what to do beside it, once it is there.
  const review = reader.get(`drives/${seg(id)}/review`).catch(() => null);
  const said = await Promise.race([review, new Promise((done) => setTimeout(done, WAIT_MS, null))]);
  const asked = await reader.get(`recipes/${seg(verdict.recipe.sha256)}`).catch(() => ({ captures: [] }));
  const open = verdict.captures.filter((one) => !isGood(one));
  const limited = new Set(asked.captures.filter((/** @type {any} */ one) => one.limited).map((/** @type {any} */ one) => one.id));
  const items = await Promise.all(verdict.captures.map((one) => captureItem(reader, id, one, limited.has(one.id))));
  const again = open.length === 1 ? "after.again_one" : "after.again";
  const name = t("hand_on.file", { date: String(drive.started_at ?? "").slice(0, 10) });
  // Without the laptop nothing can be recorded or sealed: what is kept here can be saved and handed on.
  const away = reader.at !== null;
  const hand = handing({ name, main: away, files: () => filesOf(id, verdict, inWords(verdict, drive)) });
  const [rests, alarms] = [h("div", {}), h("div", {})];
  const fill = (/** @type {any} */ found) => {
    if (!found || !way.current()) return;
    rests.replaceChildren(restsOn(id, away, found));
    alarms.replaceChildren(alarmsOf(found.alarms) ?? "");
    for (const [n, one] of verdict.captures.entries()) {
      const mine = found.captures.find((/** @type {Said} */ each) => each.id === one.id);
      if (mine) beside(items[n], id, one, mine);
    }
  };
  if (said) fill(said);
  else review.then(fill);
  return h("main", { class: "page review", "data-kept-at": reader.at },
    crumb({ to: "#/drives", back: t("drives.title"), here: t("page.minutes", { n: Math.max(1, Math.round(verdict.drive.duration_s / 60)) }) }),
    title(verdictLine(verdict)),
    h("p", { class: "under" }, open.length ? t("after.still", { titles: open.map((one) => one.title).join(", ") }) : t("after.saved")),
    drive.error ? h("p", { class: "under" }, drive.error) : null,
    drive.recovered ? h("p", { class: "under" }, t("after.recovered")) : null,
    wholeDrive(id, verdict), rests, h("ul", { class: "list" }, ...items), alarms, closer(id, away), away ? null : hand, h("div", { class: "grow" }),
    away ? h("div", { class: "acts" }, hand) : h("div", { class: "acts" }, open.length ? link(t(again, { title: open[0].title }), `#/recipe?sha=${seg(verdict.recipe.sha256)}`) : null,
      link(t(open.length ? "after.send" : "after.send_all"), `#/send?drive=${seg(id)}`, !open.length), open.length ? null : link(t("after.start"), "#/", false)));
}

/**
 * The verdict in words, as it stands on the screen, for whoever gets the files.
 * @param {import("../types.js").Verdict} verdict
 * @param {any} drive
 */
function inWords(verdict, drive) {
  const revision = t("recipe.revision", { n: verdict.recipe.revision });
  const captures = verdict.captures.map((one) => {
    const best = one.attempts.find(({ number }) => number === one.best);
    return `${one.title}\n${summary(one, one.attempts.filter(({ secured_s: secured }) => secured !== null), best)}\n`;
  });
  return [`${verdict.recipe.title}. ${revision}.`, drive.started_at ?? "", `${verdictLine(verdict)}.`, "", ...captures].join("\n");
}

/**
 * @param {Reader} reader
 * @param {string} drive
 * @param {VerdictCapture} one
 * @param {boolean} limited
 */
async function captureItem(reader, drive, one, limited) {
  const secured = one.attempts.filter((attempt) => attempt.secured_s !== null);
  const best = one.attempts.find((attempt) => attempt.number === one.best);
  const shown = isGood(one) ? "secured" : secured.length ? "running" : (best?.outcome ?? "todo");
  const drawn = secured.length ? secured.slice(0, one.asked) : best ? [best] : [];
  /** @type {Parameters<typeof portrait>[0]} */
  const lanes = await Promise.all(drawn.map(async (attempt) => {
    const points = (await reader.get(`drives/${seg(drive)}/lane`, { capture: one.id, number: attempt.number }).catch(() => null))?.points;
    return { kind: one.kind, place: one.place, limited, outcome: attempt.outcome, progress: attempt.progress, points: points?.length > 1 ? points : undefined };
  }));
  while (lanes.length < one.asked) lanes.push({ kind: one.kind, place: one.place, limited });
  const tries = one.attempts.filter((attempt) => !attempt.small);
  const small = one.attempts.length - tries.length;
  const few = small ? h("p", { class: "mini" }, t(small === 1 ? "after.small_one" : "after.small", { n: small })) : null;
  return h("li", { class: "item drawn" }, portrait(lanes),
    h("div", {}, h("h2", {}, mark(shown, t(`outcome.${shown}`)), one.title), h("p", {}, summary(one, secured, best)),
      tries.length ? h("details", { class: "tries" }, h("summary", {}, mark("back"), t(tries.length === 1 ? "after.try" : "after.tries", { n: tries.length })),
        h("ul", {}, ...tries.map((attempt) => h("li", {}, tryLine(drive, one, attempt)))), few) : few));
}

/**
 * What a capture came to: its windows, or how far the best attempt came, why it ended and what to do.
 * @param {VerdictCapture} one
 * @param {Attempt[]} secured
 * @param {Attempt | undefined} best
 */
function summary(one, secured, best) {
  const lengths = secured.map((attempt) => length(attempt, one.kind)).join(t("after.and"));
  if (isGood(one)) {
    const key = secured.length > 1 ? "after.qualified_times" : one.kind === "sweep" ? "after.qualified_sweep" : "after.qualified";
    return t(key, { n: times(secured.length), lengths });
  }
  if (secured.length) return t("after.part", { n: secured.length, of: one.asked, lengths });
  if (!best) return one.never ?? t("after.never");
  return [`${upper(t(`outcome.${best.outcome}`))}.`, sentence(best, one.kind), best.remedy].filter(Boolean).join(" ");
}

/**
 * The review's own sentence in place of the shorter one, what to do differently, and which attempt to send.
 * @param {HTMLElement} item
 * @param {string} drive
 * @param {VerdictCapture} one
 * @param {Said} said
 */
function beside(item, drive, one, said) {
  const first = isGood(one) ? t("look.qualified") : one.qualified ? t("look.part", { n: one.qualified, of: one.asked }) : said.outcome === "todo" ? "" : `${upper(t(`outcome.${said.outcome}`))}.`;
  const p = item.querySelector("p");
  if (p) p.textContent = [first, said.sentence, said.remedy].filter(Boolean).join(" ");
  const choice = one.attempts.filter(({ small }) => !small).length > 1;
  if (choice && said.send) p?.after(h("a", { class: "deeper best", href: windowOf(drive, one.id, said.send.number) }, said.send.sentence));
}

/** @param {number} n */
function times(n) {
  return has(`times.${n}`) ? t(`times.${n}`) : t("times.n", { n: count(n) });
}

/**
 * @param {string} drive
 * @param {VerdictCapture} one
 * @param {Attempt} attempt
 */
function tryLine(drive, one, attempt) {
  const out = (attempt.excursions ?? []).length;
  return h("a", { class: "try", href: windowOf(drive, one.id, attempt.number) }, mark(attempt.outcome, t(`outcome.${attempt.outcome}`)),
    h("div", {}, h("b", {}, t("after.at", { time: clock(attempt.start_s) })), " ", sentence(attempt, one.kind),
      out ? h("small", {}, t(out === 1 ? "after.excursion" : "after.excursions", { n: out })) : null));
}
