// Who asks: a known key's name, an unknown key's figures, no signature, or one that does not fit. Pinned on the laptop.

import { post } from "../api.js";
import { h } from "../dom.js";
import { known } from "../store.js";
import { t } from "../words.js";
import { attempt } from "./page.js";
import { mark } from "./signs.js";

/**
 * @param {{good: boolean, name: string | null, public_key: string | null, fingerprint: string | null} | null} by
 * @param {() => void} pinned what to do once the key is known
 */
export function signer(by, pinned) {
  const how = !by ? "unsigned" : !by.good ? "damaged" : by.name ? "known" : "unknown";
  const shape = { unsigned: mark("mind", t("mark.warn"), "hm"), damaged: mark("cross", t("mark.bad"), "no"), known: mark("secured", t("mark.ok"), "ok"), unknown: mark("mind", t("mark.warn"), "hm") }[how];
  const item = h("li", { class: "item signer", "data-signer": how }, h("div", { class: "marks" }, shape),
    h("div", {}, h("h2", {}, t(`asking.${how}`, { name: by?.name ?? "", fingerprint: by?.fingerprint ?? "" })), h("p", {}, t(`asking.${how}_text`))));
  if (how === "unknown" && known.laptop) item.lastElementChild?.append(pin(by?.public_key ?? "", pinned));
  return item;
}

/** @param {string} key @param {() => void} pinned */
function pin(key, pinned) {
  const name = h("input", { class: "typed", maxlength: 80, required: true, "aria-label": t("asking.pin_name"), placeholder: t("asking.pin_name") });
  const form = h("form", { class: "pin" }, name, h("button", { class: "act", type: "submit" }, t("asking.keep")));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    attempt(form, async () => {
      await post("keys", { name: name.value, public_key: key });
      pinned();
    });
  });
  return h("details", { class: "pinning" }, h("summary", {}, t("asking.pin")), form);
}
