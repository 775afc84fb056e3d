// How often each signal comes, during a drive with a car; and what to do when somebody else talks to it.

import { act } from "../api.js";
import { h, say } from "../dom.js";
import { giveWay } from "../parts/back_to_drive.js";
import { attempt, button, crumb, title } from "../parts/page.js";
import { Rates } from "../parts/rates.js";
import { follow } from "../store.js";
import { needWords, t } from "../words.js";

/** @param {import("../main.js").Way} way */
export async function rates(way) {
  await Promise.all([needWords("link.page"), way.style("css/link.css")]);
  giveWay(way);
  const list = new Rates();
  const under = h("p", { class: "under", role: "status" });
  const acts = h("div", { class: "acts" }, button(t("rates.retry"), () => attempt(acts, () => act("retry")), "main tall"));
  const page = h("main", { class: "page" }, crumb({ to: "#/drive", back: t("rates.back") }), title(t("rates.title")), under, list.container, h("div", { class: "grow" }), acts);
  way.leave(follow(({ live }) => {
    if (!live) return;
    const { link } = live;
    say(under, link.reason ?? t("rates.text"));
    acts.hidden = !link.occupied;
    list.update((link.rates ?? []).map(({ name, asked_hz, hz }) => ({ name, asked_hz, hz })));
  }));
  return page;
}
