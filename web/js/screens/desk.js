// The desk: who needs me. A line for each customer with one verb; bundles are dropped anywhere on it.

import { get, reach, read, post, seg } from "../api.js";
import { h } from "../dom.js";
import * as drafts from "../desk/draft.js";
import { chain } from "../desk/chain.js";
import { day, frame, verb, verbTo } from "../desk/frame.js";
import { problem } from "../parts/page.js";
import { lane } from "../parts/portrait.js";
import { count, needWords, t, upper } from "../words.js";

/** @typedef {import("../main.js").Way} Way */

/** Screens of the desk by the second part of the address. @type {Record<string, () => Promise<(way: Way) => Promise<HTMLElement>>>} */
const SCREENS = {
  write: async () => (await import("./write.js")).write,
  prove: async () => (await import("./prove.js")).prove,
  send: async () => (await import("./desk_send.js")).send,
  customer: async () => (await import("./desk_customer.js")).customer,
  again: async () => (await import("./desk_again.js")).again,
};
/** What says most to a calibrator first: a limit passed, then what was recorded too thinly. */
const TELLING = ["stopped", "sparse", "missed", "part", "todo"];
const NEEDS = new Set(["received", "complete"]);

/** @param {Way} way */
export async function desk(way) {
  const name = location.hash.replace(/^#\/?/, "").split("?")[0].split("/")[1] ?? "";
  const load = SCREENS[name];
  const [screen] = await Promise.all([load ? load() : home, needWords("desk.page"), way.style("css/desk.css")]);
  const drawn = await screen(way);
  drawn.dataset.desk = name || "home";
  return drawn;
}

/** @param {Way} way */
async function home(way) {
  const { customers } = await get("desk/customers");
  const needing = customers.filter((/** @type {any} */ one) => NEEDS.has(one.state)).length;
  const status = h("div", { class: "taken", role: "status" });
  const input = h("input", { type: "file", accept: ".zip,application/zip", multiple: true, onchange: () => take([...(input.files ?? [])]) });
  const drop = h("label", { class: "drop" }, input, t("desk.drop"));

  /** Takes bundles one after the other. @param {File[]} files */
  async function take(files) {
    input.value = "";
    for (const file of files) {
      const line = h("p", {}, t("desk.taking", { name: file.name }));
      status.append(line);
      try {
        const path = `api/desk/received?file=${seg(file.name.slice(0, 190))}`;
        const taken = await read(await reach(path, { method: "POST", cache: "no-store", headers: { "content-type": "application/zip" }, body: file }));
        line.textContent = t("desk.took", { name: file.name, sentence: taken.found.sentence });
      } catch (error) {
        line.replaceChildren(problem(error));
      }
    }
    if (!way.current()) return;
    const anew = await home(way);
    anew.dataset.desk = "home";
    anew.querySelector(".taken")?.replaceWith(status);
    document.querySelector("main.desk")?.replaceWith(anew);
  }

  const title = customers.length === 0 ? t("desk.nobody") : customers.length === 1 ? t("desk.one") : t("desk.many", { n: upper(count(customers.length)) });
  const small = !customers.length ? "" : needing === 1 ? t("desk.needs_one") : needing ? t("desk.needs", { n: count(needing) }) : t("desk.calm");
  const draft = drafts.load();
  const acts = [...(customers.some((/** @type {any} */ one) => one.bundles.length) ? [verbTo(t("desk.again"), "#/desk/again")] : []), ...(draft ? [verbTo(t("desk.draft"), "#/desk/write")] : []), verbTo(t("desk.new"), "#/desk/write?new=1", true)];
  const body = customers.length ? h("ul", { class: "inbox" }, ...customers.map((/** @type {any} */ one) => row(one, way)))
    : h("div", { class: "nobody" }, h("div", { class: "portrait wide" }, lane({ kind: "hold" })), h("p", { class: "lead-in" }, t("desk.empty")), h("p", { class: "under" }, t("desk.empty_text")));
  const page = frame({ to: "#/", back: t("desk.home"), title, small, acts }, body, status, drop);
  page.addEventListener("dragover", (event) => { event.preventDefault(); page.dataset.over = ""; });
  page.addEventListener("dragleave", (event) => { if (event.target === page || !page.contains(/** @type {Node} */ (event.relatedTarget))) delete page.dataset.over; });
  page.addEventListener("drop", (event) => { event.preventDefault(); delete page.dataset.over; take([...(event.dataTransfer?.files ?? [])]); });
  return page;
}

/** One customer. @param {any} one @param {Way} way */
function row(one, way) {
  const missing = one.captures.filter((/** @type {any} */ capture) => capture.qualified < capture.asked);
  const met = one.captures.length - missing.length;
  const said = t(`desk.state.${one.state}`, { day: day(one.when), n: one.state === "next" ? one.revisions.at(-1)?.revision : count(met), of: count(one.captures.length) });
  const more = one.problems ? [t("desk.more.other")] : one.state === "received" ? lacking(missing) : [t(one.state === "complete" ? "desk.more.same" : `desk.more.${one.state}`)];
  const to = `#/desk/customer?name=${seg(one.customer)}`;
  const sent = one.revisions.filter((/** @type {any} */ each) => each.sent).at(-1);
  /** @type {HTMLElement} */
  let act;
  if (one.state === "received" && one.bundles.length) act = verb(t("desk.verb.received"), () => open(one.bundles[0].sha256, way), true);
  else if (one.state === "complete" && sent?.sha256) act = verbTo(t("desk.verb.complete"), `#/desk/write?from=${seg(sent.sha256)}&customer=${seg(one.customer)}`, true);
  else act = verbTo(t(`desk.verb.${one.state === "next" ? "next" : "asked"}`), to);
  return h("li", { class: "line" }, h("h2", {}, h("a", { href: to }, one.customer || one.vehicle || t("desk.no_name")), h("small", {}, one.vehicle && one.vehicle !== one.customer ? one.vehicle : one.title)),
    chain(one.revisions), h("p", {}, said, ...more.map((text) => h("span", {}, text))), act);
}

/**
 * What is missing: of the capture that tells most why, and what to ask for next; the others are on the customer's page.
 * @param {any[]} missing
 */
function lacking(missing) {
  const one = missing.filter(({ lacks }) => lacks).sort((a, b) => TELLING.indexOf(a.lacks.outcome) - TELLING.indexOf(b.lacks.outcome))[0];
  if (!one) return [t("desk.more.received", { what: missing.map(({ title }) => title).join(", ") })];
  const { title, qualified, asked, lacks } = one;
  return [t(qualified ? "desk.lacks_part" : "desk.lacks", { title, n: qualified, of: asked, text: lacks.text }), lacks.next];
}

/** Opens a bundle in the review. @param {string} sha @param {Way} way @param {string} [drive] */
export async function open(sha, way, drive = "") {
  try {
    const { drive: id } = await post(`desk/received/${sha}/open`, { drive });
    if (way.current()) location.hash = `#/after?drive=${seg(id)}`;
  } catch (error) {
    document.querySelector("main.desk > header")?.after(problem(error));
  }
}
