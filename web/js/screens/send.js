// Send: what leaves the laptop, seen before it does. Two switches; then the phone's own way to share, or a file.

import { get, post, reach, read, Refused, seg } from "../api.js";
import { h } from "../dom.js";
import { keepBundle, keptBundle } from "../keeping.js";
import { bundleHand } from "../parts/kept_here.js";
import { button, crumb, item, link, problem, title } from "../parts/page.js";
import { mark } from "../parts/signs.js";
import { toggle } from "../parts/toggle.js";
import { clock, count, decimal, needWords, t, upper } from "../words.js";

/** A larger file is not kept in the page's memory for sharing: it is downloaded. */
const MOST_SHARED = 48e6;

/**
 * @typedef {object} Made a bundle as the server made it
 * @property {string} id
 * @property {number} size
 * @property {string} fingerprint
 * @property {any[]} contents
 * @property {{path: string, packed: number, size: number}[]} files
 */

/** Bytes as people read them. @param {number} bytes */
export function size(bytes) {
  return bytes >= 1e5 ? t("send.mb", { n: decimal(bytes / 1e6, 1) }) : t("send.kb", { n: Math.max(1, Math.round(bytes / 1e3)) });
}

/** @param {import("../main.js").Way} way */
export async function send(way) {
  await Promise.all([needWords("bundle.page"), needWords("offline"), way.style("css/send.css")]);
  const drive = way.params.get("drive") ?? "";
  const from = await windowOf(way.params);
  const wish = { whole: false, vin: false };
  /** @type {Map<string, Promise<Made>>} */
  const asked = new Map();
  /** @type {File | null} */
  let file = null;
  let turn = 0;

  const weight = h("span", {});
  const list = h("ul", { class: "list" });
  const switches = h("div", { class: "switches" });
  const files = h("details", { class: "inside" });
  const below = h("p", { class: "mini" });
  const status = h("p", { class: "under", role: "status" }, t("send.making"));
  const acts = h("div", { class: "acts" });
  const page = h("main", { class: "page send" }, crumb({ to: `#/after?drive=${encodeURIComponent(drive)}`, back: t("send.back"), here: weight }),
    title(t("send.title")), status, list, switches, below, files, h("div", { class: "grow" }), acts);

  /** A bundle with these wishes, made once. @param {boolean} whole @param {boolean} vin @returns {Promise<Made>} */
  function make(whole, vin) {
    const key = `${whole} ${vin}`;
    const coming = asked.get(key) ?? post("bundles", { drives: [drive], whole, full_vin: vin });
    asked.set(key, coming);
    coming.catch(() => asked.delete(key));
    return coming;
  }

  async function show() {
    const mine = ++turn;
    file = null;
    page.querySelector(".problem")?.remove();
    status.textContent = t("send.making");
    draw(null);
    try {
      const made = await make(wish.whole, wish.vin);
      if (mine !== turn || !way.current()) return;
      contents(made);
      draw(made);
      status.textContent = t("send.under");
      // The other one tells how much more the whole drive is; a phone shares only what it has in its hand.
      const other = await Promise.all([make(!wish.whole, wish.vin), fetched(made)]);
      if (mine !== turn || !way.current()) return;
      options(made, other[0]);
      file = other[1];
      draw(made);
      // Also on this phone, where there is room: it can be handed on from here with the laptop gone.
      if (file) await keepBundle(drive, file);
    } catch (error) {
      const kept = await keptBundle(drive);
      if (mine !== turn || !way.current()) return;
      status.textContent = "";
      list.before(problem(error));
      acts.replaceChildren(button(t("send.again"), show), ...(kept ? [bundleHand(kept, drive)] : []));
    }
  }

  /** The bundle in the page's hand, or null where it is too large. @param {Made} made */
  async function fetched(made) {
    if (made.size > MOST_SHARED) return null;
    const response = await reach(address(made), { cache: "no-store" });
    if (!response.ok) await read(response);
    return new File([await response.blob()], name(), { type: "application/zip" });
  }

  /** @param {Made} made */
  const address = (made) => `api/bundles/${made.id}.zip`;
  const name = () => `${drive}.zip`;

  /** What is inside. @param {Made} made */
  function contents(made) {
    const one = made.contents[0];
    const minutes = Math.max(1, Math.round(one.duration_s / 60));
    weight.textContent = size(made.size);
    const some = (/** @type {string} */ key, /** @type {number} */ n) => t(`send.${key}${n === 1 ? "_one" : n ? "" : "_none"}`, { n });
    const tick = () => mark("secured", t("send.in"), "ok");
    const others = one.windows - 1;
    list.replaceChildren(
      ...(from ? [item(tick(), t("send.this", from), some("this_text", others))] : []),
      item(one.windows ? tick() : mark("todo", t("send.none")), some("windows", one.windows), one.windows ? t("send.around", { before: one.before_s, after: one.after_s }) : t("send.windows_why")),
      ...(one.missed ? [item(tick(), some("missed", one.missed), t(one.missed === 1 ? "send.reason" : "send.reasons"))] : []),
      item(tick(), t("send.judged"), t("send.judged_text", { n: upper(count(one.judged_signals)), minutes })),
      item(tick(), t("send.recipe"), t(one.facts ? "send.recipe_facts" : "send.recipe_text")));
    below.replaceChildren(t("send.position"), h("br"), t("send.signed", { fingerprint: made.fingerprint }));
    files.replaceChildren(h("summary", {}, mark("back"), t("send.files", { n: made.files.length })),
      h("ul", {}, ...made.files.map((each) => h("li", {}, h("span", {}, each.path.replace(`drives/${one.id}/`, "")), h("span", {}, size(each.packed))))));
    options(made, null);
  }

  /**
   * The two switches.
   * @param {Made} made
   * @param {Made | null} other with the whole drive where `made` is without it, and the other way round
   */
  function options(made, other) {
    const one = made.contents[0];
    const minutes = Math.max(1, Math.round(one.duration_s / 60));
    const more = other === null ? "" : t("send.more", { size: size(Math.abs(other.size - made.size)) });
    const focused = document.activeElement?.id;
    switches.replaceChildren(
      toggle("whole", t("send.whole"), t("send.whole_text", { minutes, more }), wish.whole, (on) => { wish.whole = on; show(); }),
      ...(one.vin_known ? [toggle("vin", t("send.vin"), wish.vin ? t("send.vin_whole") : t("send.vin_end", { end: one.vin.slice(-4) }), wish.vin, (on) => { wish.vin = on; show(); })] : []));
    if (focused === "whole" || focused === "vin") document.getElementById(focused)?.focus();
  }

  /** What can be pressed. @param {Made | null} made */
  function draw(made) {
    const shares = file !== null && navigator.onLine && navigator.canShare?.({ files: [file] });
    const save = made === null ? null : h("a", { class: `act wide${shares ? "" : " main"}`, href: address(made), download: name(), onclick: saved }, t("send.save"));
    acts.replaceChildren(...(shares ? [button(t("send.send"), share)] : []), ...(save ? [save] : [h("button", { class: "act wide", type: "button", disabled: true }, t("send.wait"))]));
    if (made && !shares && !navigator.onLine) status.textContent = t("send.offline");
  }

  async function share() {
    if (file === null) return;
    try {
      await navigator.share({ files: [file], title: t("send.title") });
      done(t("send.shared"));
    } catch (error) {
      // Whoever closes the phone's own sheet has changed their mind: nothing is wrong.
      if (/** @type {DOMException} */ (error).name !== "AbortError") list.before(problem(new Refused("share", t("send.not_shared"))));
    }
  }

  /** A file that is in the page's hand is saved also while the laptop is out of reach. @param {Event} event */
  function saved(event) {
    if (file !== null) {
      event.preventDefault();
      const url = URL.createObjectURL(file);
      h("a", { href: url, download: file.name }).click();
      setTimeout(() => URL.revokeObjectURL(url), 60_000);
    }
    done(t("send.saved"));
  }

  /** @param {string} text */
  function done(text) {
    status.textContent = text;
    scrollTo(0, 0);
    if (!acts.querySelector("[data-home]")) {
      const home = link(t("send.home"), `#/after?drive=${encodeURIComponent(drive)}`, false);
      home.dataset.home = "";
      acts.append(home);
    }
  }

  const online = () => asked.has(`${wish.whole} ${wish.vin}`) && make(wish.whole, wish.vin).then(draw, () => undefined);
  addEventListener("online", online);
  addEventListener("offline", online);
  way.leave(() => { removeEventListener("online", online); removeEventListener("offline", online); turn = -1; });
  show();
  return page;
}

/**
 * The window that somebody came from, to say that it goes and what goes with it; null where nobody did.
 * @param {URLSearchParams} params
 */
async function windowOf(params) {
  if (!params.has("capture")) return null;
  /** @type {import("../types.js").Verdict | null} */
  const verdict = await get(`drives/${seg(params.get("drive") ?? "")}/attempts`).catch(() => null);
  const one = verdict?.captures.find(({ id }) => id === params.get("capture"));
  const attempt = one?.attempts.find(({ number }) => number === Number(params.get("number")));
  return one && attempt ? { title: one.title, time: clock(attempt.start_s) } : null;
}
