// Arm: before each closed-course capture, at standstill only; before a parked one, where the exhaust can go.

import { act, get, seg } from "../api.js";
import { h } from "../dom.js";
import { attempt, button, title } from "../parts/page.js";
import { mark } from "../parts/signs.js";
import { follow, known } from "../store.js";
import { t } from "../words.js";

/** @param {import("../main.js").Way} way */
export async function arm(way) {
  const id = way.params.get("capture") ?? "";
  const live = known.live;
  const sha = live?.drive.recipe;
  /** @type {import("../types.js").RecipeView | null} */
  const asked = sha ? await get(`recipes/${seg(sha)}`).catch(() => null) : null;
  const capture = asked?.captures.find((one) => one.id === id);
  /** Speed reached and room needed, in the car that is driven. */
  const planned = sha ? await get("plan", { recipe: sha }).catch(() => null) : null;
  const need = planned?.captures.find((/** @type {{id: string}} */ one) => one.id === id)?.need_text ?? "";
  const place = capture?.place ?? live?.captures.find((one) => one.id === id)?.place ?? "closed course";
  const parked = place === "parked";
  const name = capture?.title ?? live?.lead?.title ?? id;
  const acts = h("div", { class: "acts" },
    button(t(parked ? "arm.agree_parked" : "arm.agree"), () => attempt(acts, () => go("arm")), "main tall"),
    button(t("arm.skip"), () => attempt(acts, () => go("skip")), ""));
  const go = async (/** @type {string} */ action) => {
    await act(action, { capture: id });
    way.armLater = id;
    way.go("#/drive");
  };
  const later = () => {
    way.armLater = id;
    way.go("#/drive");
  };
  const rules = parked
    ? [["air", t("notes.open_air"), t("notes.open_air_text")], ["lamp", t("notes.warning_lamp"), t("notes.warning_lamp_text")]]
    : [
        ["closed", t("arm.course"), t("arm.course_text")],
        ...(capture?.limits ? [["stopped", t("arm.limits", { limits: capture.limits }), t("arm.limits_text")]] : []),
        ["driver", t("arm.driver"), t("arm.driver_text")],
      ];
  // The car set off, or somebody else decided: this screen is for standing still only.
  way.leave(follow(({ live: now }) => {
    if (now && !now.face.code.endsWith("_standing") && way.current()) way.go("#/drive");
  }));
  return h("main", { class: "page" },
    h("nav", { class: "crumb", "aria-label": t("page.way") }, h("button", { type: "button", onclick: later }, mark("back"), t("arm.back")), h("span", {}, t("arm.here"))),
    title(t("arm.title", { title: name })), h("p", { class: "under" }, capture?.sentence ?? ""), need ? h("p", { class: "under need" }, need) : null,
    h("ul", { class: "rules" }, ...rules.map(([shape, bold, text]) => h("li", {}, mark(shape), h("div", {}, h("b", {}, bold), h("p", {}, text))))),
    h("div", { class: "grow" }), acts);
}
