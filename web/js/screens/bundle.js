// Check a bundle: same verdict, or the first difference; what was changed, and who signed it.

import { reach, read } from "../api.js";
import { when } from "../dates.js";
import { h } from "../dom.js";
import { attempt, crumb, item, title } from "../parts/page.js";
import { mark } from "../parts/signs.js";
import { needWords, t } from "../words.js";

/** @param {import("../main.js").Way} way */
export async function bundle(way) {
  await Promise.all([needWords("bundle.page"), way.style("css/send.css")]);
  const heading = title(t("bundle.title"));
  const sign = h("div", { class: "sign" });
  const under = h("p", { class: "under", role: "status" }, t("bundle.under"));
  const found = h("div", { class: "found" });
  const acts = h("div", { class: "acts" });
  const input = h("input", { type: "file", accept: ".zip,application/zip", onchange: () => attempt(acts, look) });
  const word = h("span", {}, t("bundle.open"));
  acts.append(h("label", { class: "act wide main" }, input, word));

  async function look() {
    const file = input.files?.[0];
    if (!file) return;
    found.replaceChildren();
    sign.replaceChildren();
    heading.textContent = t("bundle.looking");
    under.textContent = file.name;
    let checked;
    try {
      checked = await read(await reach("api/bundles/check", { method: "POST", cache: "no-store", headers: { "content-type": "application/zip" }, body: file }));
    } catch (error) {
      heading.textContent = t("bundle.refused");
      throw error;
    } finally {
      input.value = "";
    }
    if (way.current()) show(checked, file.name);
  }

  /** @param {any} checked @param {string} name */
  function show(checked, name) {
    heading.textContent = t(checked.ok ? "bundle.same" : checked.same_verdict ? "bundle.changed" : "bundle.other");
    sign.replaceChildren(checked.ok ? mark("secured", "", "ok") : checked.same_verdict ? mark("cross", "", "no") : mark("missed", "", "no"));
    const short = (/** @type {string | null} */ where) => where?.replace(/^drives\/[^/]+\//, "") ?? name;
    under.textContent = checked.sentence;
    word.textContent = t("bundle.another");
    const signed = checked.signed_by;
    const shape = signed?.good && signed.pinned ? mark("secured", t("bundle.yes"), "ok") : signed?.good ? mark("mind", t("bundle.mind"), "hm") : mark("cross", t("bundle.no"), "no");
    const who = !signed ? t("bundle.not_signed") : !signed.good ? t("bundle.signature_bad") : signed.pinned ? t("bundle.signed_by", { name: signed.name }) : t("bundle.signed_unknown");
    found.replaceChildren(
      h("ul", { class: "list" },
        item(shape, who, signed ? signed.fingerprint : t("bundle.not_signed_text")),
        ...checked.problems.map((/** @type {any} */ one) => item(mark("cross", t("bundle.no"), "no"), short(one.where), one.message)),
        ...(checked.more ? [item(mark("cross", t("bundle.no"), "no"), t("bundle.more", { n: checked.more }), "")] : []),
        ...checked.warnings.filter((/** @type {any} */ one) => one.code !== "unknown_key").map((/** @type {any} */ one) => item(mark("mind", t("bundle.mind"), "hm"), short(one.where), one.message))),
      ...checked.drives.map(drive));
    heading.focus({ preventScroll: true });
  }

  /** @param {any} one */
  function drive(one) {
    const began = one.started ? when(one.started) : t("bundle.no_time");
    return h("section", { class: "drive-of" }, h("h2", {}, t("bundle.drive", { title: one.title, n: one.revision })), h("p", { class: "mini" }, began),
      h("ul", { class: "list" }, ...one.captures.map((/** @type {any} */ capture) => {
        const good = capture.qualified >= capture.asked;
        return item(mark(good ? "secured" : capture.qualified ? "running" : "missed", t(good ? "bundle.yes" : "bundle.no"), good ? "ok" : ""), capture.title, t("bundle.qualified", { n: capture.qualified, of: capture.asked }));
      })));
  }

  return h("main", { class: "page send" }, crumb({ to: "#/drives", back: t("drives.title") }), h("div", { class: "head" }, sign, heading), under, found, h("div", { class: "grow" }), acts);
}
