// One customer: what came, each bundle checked and opened with one tap, and what was asked, revision by revision.

import { get, post, reach, read, seg } from "../api.js";
import { h } from "../dom.js";
import { chain } from "../desk/chain.js";
import * as drafts from "../desk/draft.js";
import { frame, verb, verbTo, when } from "../desk/frame.js";
import { attempt } from "../parts/page.js";
import { mark } from "../parts/signs.js";
import { t, upper } from "../words.js";
import { open } from "./desk.js";

/** @param {{title: string, qualified: number, asked: number}} capture */
const count = ({ title, qualified, asked }) => t("customer.counts", { title, n: qualified, of: asked });

/** The captures that lack nothing, or nothing that is known, in one line. @param {any[]} captures */
const counts = (captures) => (captures.length ? [h("p", { class: "mini" }, captures.map(count).join("  ·  "))] : []);

/** @param {import("../main.js").Way} way */
export async function customer(way) {
  const name = way.params.get("name") ?? "";
  const found = await get("desk/customer", { name });
  const last = found.asked.find((/** @type {any} */ one) => one.sent);
  const begun = found.asked.find((/** @type {any} */ one) => !one.sent);
  const here = (/** @type {string} */ who) => `#/desk/customer?name=${seg(who)}`;

  /** Writes on at what was begun, or sends what was sent once more. @param {any} one @param {string} to */
  const take = (one, to) => () => {
    drafts.save({ text: one.text, source: "", vehicle: null, customer: name, from: null });
    location.hash = to;
  };

  /** @param {any} one */
  function bundle(one) {
    const by = one.found.signed_by;
    const who = !by ? t("customer.unsigned") : !by.good ? t("customer.bad") : by.name ? t("customer.signed", { name: by.name }) : t("customer.unknown", { fingerprint: by.fingerprint });
    const box = h("div", { class: "doing" });
    const pin = by?.good && !by.name ? verb(t("customer.pin"), () => attempt(box, async () => { await post("keys", { name, public_key: by.public_key }); way.go(here(name)); })) : null;
    const asks = h("input", { class: "slot", value: one.customer, maxlength: 80, "aria-label": t("customer.assign") });
    const assign = h("details", { class: "really" }, h("summary", {}, t("customer.assign")), h("form", { class: "assign", onsubmit: (/** @type {Event} */ event) => { event.preventDefault(); attempt(box, async () => { await post(`desk/received/${one.sha256}/assign`, { customer: asks.value }); location.hash = here(asks.value.trim()); }); } },
      asks, h("button", { class: "act", type: "submit" }, t("customer.keep"))));
    const really = h("details", { class: "really" }, h("summary", {}, t("customer.remove")), h("p", {}, t("customer.really")), verb(t("customer.yes"), () => attempt(box, remove)));
    async function remove() {
      await read(await reach(`api/desk/received/${one.sha256}`, { method: "DELETE", cache: "no-store" }));
      location.hash = "#/desk";
    }
    const cars = new Map(one.cars.map((/** @type {any} */ each) => [each.id, each]));
    box.append(...(pin ? [pin] : []), h("a", { class: "quietly", href: `api/desk/received/${one.sha256}.zip`, download: one.file }, t("customer.save")), assign, really);
    return h("li", { class: "bundle" },
      h("div", { class: "marks" }, one.found.ok ? mark("secured", t("customer.good"), "ok") : mark("cross", t("customer.problem"), "no")),
      h("div", {}, h("h3", {}, when(one.when), h("small", {}, one.file)), h("p", {}, one.found.sentence), h("p", { class: "mini" }, who),
        ...one.found.problems.slice(0, 4).map((/** @type {any} */ each) => h("p", { class: "mini" }, `${each.where ? `${each.where}: ` : ""}${each.message}`)),
        ...one.found.drives.map((/** @type {any} */ drive) => {
          const car = cars.get(drive.id);
          return h("div", { class: "of" }, h("div", {}, h("p", {}, h("b", {}, t("customer.drive", { n: drive.revision })), " ", car?.flashed?.revision !== undefined ? t("customer.flashed", { n: car.flashed.revision }) : ""),
            ...counts(drive.captures.filter((/** @type {any} */ c) => !c.lacks)),
            ...drive.captures.filter((/** @type {any} */ c) => c.lacks).map((/** @type {any} */ c) => h("p", { class: "mini lacks" }, h("b", {}, count(c), "."), ` ${upper(c.lacks.text)} ${c.lacks.next}`)),
            ...(car?.warnings ?? []).map((/** @type {string} */ text) => h("p", { class: "warned" }, mark("mind", t("customer.mind"), "hm"), h("span", {}, text)))),
          verb(t("customer.open"), () => open(one.sha256, way, drive.id), true));
        }), box));
  }

  /** @param {any} one */
  const asked = (one) => h("li", { class: "bundle" }, h("div", { class: "marks" }, mark(one.sent ? "dot" : "ring")),
    h("div", {}, h("h3", {}, t("customer.revision", { n: one.revision, title: one.title })), h("p", { class: "mini" }, t(one.sent ? "customer.sent" : "customer.begun", { when: when(one.when) })),
      h("div", { class: "doing" }, one.sent ? verb(t("customer.again"), take(one, "#/desk/send")) : verb(t("customer.edit"), take(one, "#/desk/write"), true))));

  const act = begun ? verb(t("customer.edit"), take(begun, "#/desk/write"), true) : last ? verbTo(t("customer.next"), `#/desk/write?from=${seg(last.sha256)}&customer=${seg(name)}`, true) : null;
  return frame({ to: "#/desk", back: t("desk.back"), title: name || t("desk.no_name"), small: found.standing.vehicle, acts: act ? [act] : [] },
    h("div", { class: "panes one" }, h("section", { class: "work" }, h("div", { class: "answer" }, chain(found.revisions),
      h("h2", {}, t("customer.came")), found.received.length ? h("ul", {}, ...found.received.map(bundle)) : h("p", { class: "under" }, t("customer.nothing")),
      h("h2", {}, t("customer.asked")), h("ul", {}, ...found.asked.map(asked))))));
}
