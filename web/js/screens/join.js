// On the laptop: the square that a phone scans to join, good once and for some minutes. On a phone: that it is joined.

import { get, post } from "../api.js";
import { h } from "../dom.js";
import { crumb, problem, title } from "../parts/page.js";
import { square } from "../parts/square.js";
import { needWords, t } from "../words.js";

const ROLES = ["operator", "onlooker"];
/** Between two looks at whether somebody has scanned it, in milliseconds. */
const LOOK_MS = 2000;

/** @param {import("../main.js").Way} way */
export async function join(way) {
  await Promise.all([needWords("joining.page"), way.style("css/join.css")]);
  const me = await get("me");
  const back = crumb({ to: "#/", back: t("start.back"), here: me.laptop && me.lan ? h("a", { href: "#/devices" }, t("join.devices")) : "" });
  if (!me.laptop) return h("main", { class: "page" }, back, title(me.name || t("join.title")), h("p", { class: "under" }, t("join.only_laptop")));
  if (!me.lan) return h("main", { class: "page" }, back, title(t("join.no_lan")), h("p", { class: "under" }, t("join.no_lan_text")));
  const now = await get("joining");
  let role = "operator";
  let number = false;
  let until = 0;
  let shown = "";
  let here = new Set((await get("devices")).devices.map(key));
  const picture = h("div", { class: "square" });
  const typed = h("p", { class: "spelled" });
  const state = h("p", { class: "state", role: "status" });
  const acts = h("div", { class: "acts" }, h("button", { class: "act main wide", type: "button", onclick: () => draw() }, t("join.again")));
  const other = h("button", { class: "plain", type: "button", onclick: () => { number = !number; draw(); } });

  async function draw() {
    main.querySelector(".problem")?.remove();
    try {
      const made = await post("joining/square", { role, number });
      until = performance.now() + made.seconds * 1000;
      shown = role;
      picture.replaceChildren(square(made.rows, t("join.square")));
      picture.classList.remove("over");
      typed.textContent = made.url.split("#")[0];
      other.textContent = t(number ? "join.name" : "join.number");
      tell();
    } catch (error) {
      acts.before(problem(error));
    }
  }

  function tell() {
    const minutes = Math.ceil((until - performance.now()) / 60_000);
    state.textContent = minutes <= 0 ? t("join.over") : minutes === 1 ? t("join.left_one") : t("join.left", { minutes });
    picture.classList.toggle("over", minutes <= 0);
  }

  async function look() {
    if (!way.current()) return;
    const [news, list] = await Promise.all([get("joining"), get("devices")]).catch(() => [null, null]);
    if (news && list && way.current()) {
      const fresh = list.devices.filter((/** @type {any} */ one) => !here.has(key(one)));
      here = new Set(list.devices.map(key));
      warn(news);
      if (fresh.length) {
        state.replaceChildren(h("b", {}, t("join.joined", { name: fresh[0].name })));
        picture.classList.add("over");
        until = 0;
      } else if (until && !news.open.includes(shown)) {
        until = 0;
        tell();
      } else if (until) tell();
    }
    setTimeout(look, LOOK_MS);
  }

  const warning = h("div", {});
  function warn(/** @type {any} */ news) {
    const minutes = Math.ceil(news.shut_s / 60);
    const text = news.shut_s ? t("join.shut", { minutes }) : news.nowhere ? t("join.nowhere") : news.trouble ? t("join.unannounced", { name: news.name, why: news.trouble }) : "";
    if (warning.textContent !== text) warning.replaceChildren(text ? h("p", { class: "mini after", role: "status" }, text) : "");
  }

  const choose = h("fieldset", { class: "pickone" }, h("legend", {}, t("join.who")), h("div", {}, ...ROLES.map((one) =>
    h("label", {}, h("input", { type: "radio", name: "role", value: one, checked: one === role, onchange: () => { role = one; draw(); } }),
      h("span", {}, t(`join.${one}`))))), h("p", { class: "mini" }, ROLES.map((one) => `${t(`join.${one}`)}: ${t(`join.${one}_text`)}`).join(" ")));
  const asides = h("div", { class: "asides" }, other,
    h("details", {}, h("summary", {}, t("join.first")), h("p", {}, t("join.first_text")), h("p", { class: "print" }, now.help),
      h("p", {}, t("join.fingerprint")), h("p", { class: "print" }, now.fingerprint)));
  const main = h("main", { class: "page inviting" }, back, title(t("join.title")), h("p", { class: "under" }, t("join.under")),
    h("div", { class: "two" }, h("div", { class: "show" }, picture, state, typed), h("div", {}, choose, warning, asides)), h("div", { class: "grow" }), acts);
  await draw();
  warn(now);
  setTimeout(look, LOOK_MS);
  return main;
}

/** A device that joins anew has another time of joining. @param {any} device */
const key = (device) => `${device.id} ${device.paired_at}`;
