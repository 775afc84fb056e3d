// A request in the address: the recipe behind the # is opened here in the browser, shown, and kept only when it is taken.

import { Refused, post, seg } from "../api.js";
import { h } from "../dom.js";
import { list } from "../parts/asked.js";
import { signer } from "../parts/signer.js";
import { button, crumb, problem, title } from "../parts/page.js";
import { needWords, t } from "../words.js";

const FORM = "1.";
/** As much as a recipe may have. */
const MOST_BYTES = 256_000;
const MOST_LINK = 400_000;

/** The text in a fragment, or why there is none. @param {string} packed @returns {Promise<string>} */
async function unpack(packed) {
  if (!packed.startsWith(FORM)) throw new Refused("link", t("asking.form"));
  if (packed.length > MOST_LINK) throw new Refused("link", t("asking.too_large"));
  if (typeof DecompressionStream === "undefined") throw new Refused("link", t("asking.old"));
  const pieces = [];
  let size = 0;
  try {
    const raw = atob(packed.slice(FORM.length).replace(/-/g, "+").replace(/_/g, "/"));
    const small = Uint8Array.from(raw, (letter) => letter.charCodeAt(0));
    const reader = new Blob([small]).stream().pipeThrough(new DecompressionStream("deflate-raw")).getReader();
    for (;;) {
      const { done, value } = await reader.read();
      if (done) break;
      size += value.length;
      if (size > MOST_BYTES) {
        // A small link that grows without end is stopped here.
        await reader.cancel();
        break;
      }
      pieces.push(value);
    }
    if (size <= MOST_BYTES) return new TextDecoder("utf-8", { fatal: true }).decode(await new Blob(pieces).arrayBuffer());
  } catch {
    throw new Refused("link", t("asking.bad_link"));
  }
  throw new Refused("link", t("asking.too_large"));
}

/** @param {import("../main.js").Way} way */
export async function request(way) {
  await needWords("asking.page");
  const packed = location.hash.replace(/^#\/?request\//, "").split("?")[0];
  const top = crumb({ to: "#/", back: t("start.back") });
  /** @type {any} */
  let view;
  let text = "";
  try {
    text = await unpack(packed);
    view = await post("recipes/look", text);
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    return h("main", { class: "page" }, top, title(t("asking.refused")), problem(error), h("div", { class: "grow" }), h("div", { class: "acts" }, h("a", { class: "act wide main", href: "#/" }, t("asking.decline"))));
  }
  const acts = h("div", { class: "acts" });
  const damaged = view.signed_by && !view.signed_by.good;
  const take = button(t("asking.accept"), async () => {
    take.disabled = true;
    try {
      const kept = await post("recipes", text, { "x-file-name": "request.toml" });
      way.go(`#/recipe?sha=${seg(kept.sha256)}`);
    } catch (error) {
      take.disabled = false;
      acts.before(problem(error));
    }
  });
  acts.append(...(damaged ? [] : [take]), h("a", { class: `act wide${damaged ? " main" : ""}`, href: "#/" }, t("asking.decline")));
  return h("main", { class: "page request" }, crumb({ to: "#/", back: t("start.back"), here: t("recipe.revision", { n: view.revision }) }), title(view.title),
    view.note ? h("p", { class: "under" }, view.note) : null, h("ul", { class: "list" }, signer(view.signed_by, () => way.go(location.hash))), list(view), h("div", { class: "grow" }), acts);
}
