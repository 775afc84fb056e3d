// Who is joined: name, what it may do, when it was last here; removing cuts it off at once.

import { get, post, seg } from "../api.js";
import { when } from "../dates.js";
import { h } from "../dom.js";
import { attempt, crumb, title } from "../parts/page.js";
import { mark } from "../parts/signs.js";
import { needWords, t } from "../words.js";

/** A device seen so recently counts as here, in milliseconds. */
const NOW_MS = 90_000;
const LOOK_MS = 5000;

/** @param {import("../main.js").Way} way */
export async function devices(way) {
  await Promise.all([needWords("joining.page"), way.style("css/join.css")]);
  const list = h("ul", { class: "list" });
  const none = h("p", { class: "under" }, t("devices.none"));
  const under = h("p", { class: "under" }, t("devices.under"));
  let busy = false;

  async function show() {
    const found = (await get("devices")).devices;
    list.replaceChildren(...found.map((/** @type {any} */ one) => h("li", { class: "item device", "data-device": one.id }, ...calm(one))));
    none.hidden = found.length > 0;
    list.hidden = under.hidden = !found.length;
    busy = false;
  }

  /** A device as it stands. @param {any} one */
  function calm(one) {
    const seen = new Date(one.seen_at);
    const role = t(`devices.${one.role}`);
    const text = Date.now() - seen.getTime() < NOW_MS ? t("devices.here", { role }) : t("devices.seen", { role, when: when(seen) });
    return [h("div", { class: "marks" }, mark(one.role === "operator" ? "passenger" : "ring")),
      h("div", {}, h("button", { class: "named", type: "button", "aria-label": t("devices.name_of", { name: one.name }), onclick: () => rename(one) }, one.name),
        h("p", {}, text)),
      h("button", { class: "act", type: "button", "aria-label": t("devices.remove", { name: one.name }), onclick: () => ask(one) }, t("devices.remove_it"))];
  }

  /** @param {string} id */
  const item = (id) => /** @type {HTMLElement} */ (list.querySelector(`[data-device="${CSS.escape(id)}"]`));

  /** Removing is asked once more: the phone has to come to the laptop to get back. @param {any} one */
  function ask(one) {
    busy = true;
    const both = h("div", { class: "both" },
      h("button", { class: "act main", type: "button", onclick: () => attempt(both, () => remove(one)) }, t("devices.remove_it")),
      h("button", { class: "act", type: "button", onclick: show }, t("devices.keep")));
    item(one.id).replaceChildren(h("div", { class: "marks" }, mark("mind")), h("div", { class: "sure" }, h("p", {}, t("devices.sure", { name: one.name })), both));
    /** @type {HTMLElement} */ (both.lastElementChild).focus();
  }

  /** @param {any} one */
  async function remove(one) {
    await post(`devices/${seg(one.id)}/remove`);
    await show();
    heading.focus();
  }

  /** @param {any} one */
  function rename(one) {
    busy = true;
    const field = h("input", { type: "text", maxlength: 40, value: one.name, "aria-label": t("devices.name_of", { name: one.name }) });
    const both = h("div", { class: "both" },
      h("button", { class: "act main", type: "button", onclick: () => attempt(both, keep) }, t("devices.save")),
      h("button", { class: "act", type: "button", onclick: show }, t("devices.leave")));
    const keep = async () => {
      await post(`devices/${seg(one.id)}/name`, { name: field.value });
      await show();
      heading.focus();
    };
    field.addEventListener("keydown", (event) => {
      if (event.key === "Enter") void attempt(both, keep);
      if (event.key === "Escape") void show();
    });
    item(one.id).replaceChildren(h("div", { class: "marks" }, mark("passenger")), h("div", { class: "sure" }, field, both));
    field.focus();
    field.select();
  }

  async function look() {
    if (!way.current()) return;
    if (!busy) await show().catch(() => undefined);
    setTimeout(look, LOOK_MS);
  }

  const heading = title(t("devices.title"));
  const main = h("main", { class: "page" }, crumb({ to: "#/join", back: t("devices.back") }), heading, under, list, none,
    h("div", { class: "grow" }), h("p", { class: "mini" }, t("devices.lost")), h("div", { class: "acts" }, h("a", { class: "act main wide", href: "#/join" }, t("devices.back"))));
  await show();
  setTimeout(look, LOOK_MS);
  return main;
}
