// What the drives take on the laptop, in one line under their list. A phone has nothing to do with it.

import { get } from "../api.js";
import { h } from "../dom.js";
import { known } from "../store.js";
import { needWords, t } from "../words.js";

const GB = 1e9;
const MB = 1e6;

/** The line, filled in once it is known; it stays hidden on a phone, and where it cannot be told. */
export function room() {
  const line = h("p", { class: "mini room", hidden: true });
  if (known.laptop) fill(line).catch(() => {});
  return line;
}

/** @param {HTMLElement} line */
async function fill(line) {
  const [taken] = await Promise.all([get("data"), needWords("keeping.page")]);
  line.textContent = t("keeping.room", { taken: size(taken.total_bytes), free: size(taken.free_bytes) });
  line.hidden = false;
}

/** @param {number} bytes */
function size(bytes) {
  const [unit, key] = bytes >= GB ? [GB, "gb"] : [MB, "mb"];
  const n = bytes / unit;
  return t(`keeping.${key}`, { n: n < 10 ? Math.round(n * 10) / 10 : Math.round(n) });
}
