// Recipe: what is asked, one sentence and one portrait a capture, and where it is made.

import { get, seg } from "../api.js";
import { h } from "../dom.js";
import { crumb, link, title } from "../parts/page.js";
import { mark } from "../parts/signs.js";
import { list } from "../parts/asked.js";
import { signer } from "../parts/signer.js";
import { speeds } from "../parts/speeds.js";
import { needWords, t, upper } from "../words.js";

/** @param {import("../main.js").Way} way */
export async function recipe(way) {
  const sha = way.params.get("sha") ?? "";
  /** @type {import("../types.js").RecipeView} */
  const asked = await get(`recipes/${seg(sha)}`);
  await needWords("asking.page");
  const source = way.params.get("source") ?? "";
  const planned = source ? await get("plan", { recipe: sha, source }).catch(() => null) : null;
  /** @param {string} id */
  const need = (id) => planned?.captures.find((/** @type {{id: string}} */ one) => one.id === id)?.need_text ?? "";
  const next = source ? `#/ready?recipe=${seg(sha)}&source=${seg(source)}` : `#/source?recipe=${seg(sha)}`;
  /** @type {{level: string, message: string, change?: string}[]} */
  const findings = planned?.findings ?? asked.findings ?? [];
  const warnings = findings.map((finding) => h("li", { class: "item" },
    h("div", { class: "marks" }, mark(finding.level === "error" ? "cross" : "mind", t(finding.level === "error" ? "mark.bad" : "mark.warn"), finding.level === "error" ? "no" : "hm")),
    h("div", {}, h("p", {}, upper(finding.message)), finding.change ? h("p", {}, finding.change) : null)));
  if (planned) await Promise.all([needWords("speeds.page"), way.style("css/plan.css")]);
  const minutes = planned?.minutes ?? asked.minutes;
  // What comes with the program is nobody's request: there is no signature to look for.
  const own = "signed_by" in asked && !asked.signed_by && (await get("recipes").catch(() => ({ recipes: [] }))).recipes.some((/** @type {any} */ one) => one.sha256 === sha && one.bundled);
  return h("main", { class: "page" },
    crumb({ to: "#/", back: t("start.back"), here: t("recipe.revision", { n: asked.revision }) }),
    title(asked.title), asked.note ? h("p", { class: "under" }, asked.note) : null,
    own ? h("p", { class: "under" }, t("start.bundled")) : "signed_by" in asked ? h("ul", { class: "list" }, signer(asked.signed_by ?? null, () => way.go(location.hash))) : null,
    list(asked, need), warnings.length ? h("ul", {}, ...warnings) : null,
    planned ? speeds({ recipe: sha, source }) : null, h("div", { class: "grow" }),
    minutes ? h("p", { class: "mini" }, t("recipe.minutes", { n: minutes })) : null,
    h("div", { class: "acts" }, link(t("recipe.next"), next)));
}
