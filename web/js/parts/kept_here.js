// Below a drive that is over: that it is kept on this phone, how to take it off (asked twice) and how to keep it after
// all; with the laptop away also the bundle that was made for the calibrator.

import { when } from "../dates.js";
import { h } from "../dom.js";
import { isKept, keepAgain, keptBundle, remove } from "../keeping.js";
import { canShare } from "../share.js";
import { known } from "../store.js";
import { t } from "../words.js";
import { handing } from "./handing.js";
import { button } from "./page.js";
import { mark } from "./signs.js";

/**
 * Adds to the screen what can be done about the drive on this phone.
 * @param {HTMLElement} screen
 * @param {string} id
 * @param {import("../main.js").Way} way
 */
export async function keptHere(screen, id, way) {
  const [kept, bundle] = await Promise.all([isKept(id), keptBundle(id)]);
  if (!id || !way.current()) return;
  const heading = h("summary", {}, mark("back"), t(kept ? "kept.here" : "kept.not_here"));
  const inside = h("div", { class: "handing" });
  const box = h("details", { class: "kept-here" }, heading, inside);
  const draw = () => inside.replaceChildren(...(kept
    ? [button(t("kept.remove"), sure, "")]
    : [h("p", { class: "mini" }, t("kept.not_here_text")), button(t("kept.again"), again, "")]));
  const sure = () => {
    const no = button(t("kept.no"), draw);
    inside.replaceChildren(h("p", { class: "under", role: "status" }, t(known.phone.lost ? "kept.sure_away" : "kept.sure")), button(t("kept.yes"), gone, ""), no);
    no.focus();
  };
  const gone = async () => {
    await remove(id);
    // Without the laptop there is nothing left to show of it.
    if (known.phone.lost || screen.dataset.keptAt) return way.go("#/drives");
    box.remove();
    return keptHere(screen, id, way);
  };
  const again = async () => {
    await keepAgain(id).catch(() => false);
    box.remove();
    return keptHere(screen, id, way);
  };
  draw();
  const all = bundle && screen.dataset.keptAt ? [bundleHand(bundle, id), box] : [box];
  const below = screen.querySelector(".grow");
  if (below) below.before(...all);
  else screen.append(...all);
}

/**
 * The button that hands the bundle on from this phone.
 * @param {{at: number, file: File}} bundle
 * @param {string} id of its drive
 */
export function bundleHand({ at, file }, id) {
  const box = handing({ name: id, files: async () => [file], key: canShare([file]) ? "kept.bundle_share" : "kept.bundle_save" });
  box.append(h("p", { class: "mini" }, t("kept.bundle_text", { when: when(at) })));
  return box;
}
