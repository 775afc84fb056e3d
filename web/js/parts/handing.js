// The button that hands a drive, or one table of it, on from this phone; below it what became of it.

import { h, say } from "../dom.js";
import { canShare, hand } from "../share.js";
import { t } from "../words.js";
import { attempt } from "./page.js";

/**
 * @param {object} what
 * @param {() => Promise<File[]>} what.files
 * @param {string} what.name of the zip, where one is made
 * @param {boolean} [what.main]
 * @param {boolean} [what.one] one table and not the drive
 * @param {string} [what.key] of the words on the button, where the usual do not fit
 */
export function handing({ files, name, main = false, one = false, key = !canShare() ? "hand_on.save" : one ? "hand_on.share_one" : "hand_on.share" }) {
  const said = h("p", { class: "mini", role: "status" });
  const press = () => attempt(box, async () => {
    const done = await hand(await files(), name);
    say(said, done === "left" ? "" : t(done === "shared" ? "hand_on.shared" : "hand_on.saved"));
  });
  const box = h("div", { class: "handing" }, h("button", { class: `act wide${main ? " main" : ""}`, type: "button", onclick: press }, t(key)), said);
  return box;
}
