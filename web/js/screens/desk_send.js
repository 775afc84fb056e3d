// Send: a link that carries the whole recipe behind its #, a code to be scanned, a file, the phone's own way to share.

import { get, post } from "../api.js";
import { h } from "../dom.js";
import * as drafts from "../desk/draft.js";
import { frame, verb, verbTo } from "../desk/frame.js";
import { problem } from "../parts/page.js";
import { square } from "../parts/square.js";
import { toggle } from "../parts/toggle.js";
import { canShare } from "../share.js";
import { t } from "../words.js";

const PAGE = "http://localhost:8765/";
const TYPED_MS = 400;

/** @param {import("../main.js").Way} way */
export async function send(way) {
  const draft = drafts.load();
  if (!draft) {
    way.go("#/desk");
    return h("main", {});
  }
  const [kit, { customers }] = await Promise.all([get("desk/starts"), get("desk/customers"), way.style("css/send.css")]);
  let sign = true;
  /** @type {any} */
  let made = null;
  let turn = 0;
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  let waiting;
  const who = h("input", { class: "slot", value: draft.customer, placeholder: t("handing.who_hint"), list: "customers", maxlength: 80, "aria-label": t("handing.who"), autocomplete: "off", oninput: named });
  const page = h("input", { class: "slot", value: PAGE, "aria-label": t("handing.page"), oninput: () => { clearTimeout(waiting); waiting = setTimeout(show, TYPED_MS); } });
  const status = h("p", { class: "under", role: "status" });
  const signing = h("div", { class: "switches" });
  const acts = h("div", { class: "acts" });
  const code = h("div", { class: "code" });
  const address = h("textarea", { class: "link", readonly: true, rows: 3, "aria-label": t("handing.address") });

  function named() {
    drafts.save(Object.assign(/** @type {any} */ (draft), { customer: who.value.trim() }));
  }

  function switches() {
    signing.replaceChildren(toggle("sign", t("handing.sign"), t("handing.sign_text", { fingerprint: kit.fingerprint }), sign, (on) => { sign = on; switches(); document.getElementById("sign")?.focus(); show(); }));
  }

  async function show() {
    const mine = ++turn;
    try {
      const asked = await post("desk/share", { text: draft?.text, page: page.value.trim() || PAGE, sign });
      if (mine !== turn || !way.current()) return;
      made = asked;
    } catch (error) {
      if (mine !== turn || !way.current()) return;
      made = null;
      acts.replaceChildren(problem(error));
      code.replaceChildren();
      address.value = "";
      return;
    }
    address.value = made.link;
    code.replaceChildren(...(made.square ? [h("div", { class: "square" }, square(made.square, t("handing.square")))] : [h("p", { class: "mini" }, t("handing.no_square", { why: made.why }))]));
    acts.replaceChildren(verb(t("handing.link"), copy, true), verb(t("handing.file"), save), ...(canShare() || "share" in navigator ? [verb(t("handing.share"), share)] : []));
  }

  /** Keeps it as sent. @returns {Promise<boolean>} whether it is known for whom */
  async function sent() {
    const customer = who.value.trim();
    if (!customer) {
      status.textContent = t("handing.name_first");
      who.focus();
      return false;
    }
    try {
      await post("desk/asked", { customer, text: made.text });
    } catch (error) {
      acts.prepend(problem(error));
      return false;
    }
    status.textContent = t("handing.sent", { name: customer });
    return true;
  }

  async function copy() {
    if (!(await sent())) return;
    try {
      await navigator.clipboard.writeText(made.link);
      status.textContent = `${t("handing.copied")} ${status.textContent}`;
    } catch {
      // a page that may not copy: the link stands there to be taken by hand
      address.select();
    }
  }

  async function save() {
    if (!(await sent())) return;
    const url = URL.createObjectURL(new Blob([made.text], { type: "application/toml" }));
    h("a", { href: url, download: made.name }).click();
    setTimeout(() => URL.revokeObjectURL(url), 60_000);
  }

  async function share() {
    if (!(await sent())) return;
    await navigator.share({ url: made.link, title: made.name }).catch(() => undefined);
  }

  switches();
  show();
  way.leave(() => { turn += 1; clearTimeout(waiting); });
  return frame({ to: "#/desk/write", back: t("handing.back"), title: t("handing.title"), acts: [verbTo(t("handing.to_desk"), "#/desk")] },
    h("div", { class: "panes one" }, h("section", { class: "work" }, h("div", { class: "handing" },
      h("div", {}, h("p", { class: "under" }, t("handing.under")), h("label", { class: "field" }, h("span", {}, t("handing.who")), who), h("datalist", { id: "customers" }, ...customers.map((/** @type {any} */ one) => h("option", { value: one.customer }))),
        h("label", { class: "field" }, h("span", {}, t("handing.page")), page), signing, acts, status), h("div", {}, code, address)))));
}
