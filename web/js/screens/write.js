// Write: a capture is one sentence with slots; under it what the check says, beside it the phone's own words.

import { Refused, get, post } from "../api.js";
import { h } from "../dom.js";
import * as drafts from "../desk/draft.js";
import { captureFields, recipeFields } from "../desk/fields.js";
import { frame, verb } from "../desk/frame.js";
import { Phone } from "../desk/phone.js";
import { Sentence } from "../desk/sentence.js";
import { says } from "../desk/says.js";
import { pick } from "../desk/slots.js";
import { problem } from "../parts/page.js";
import { lane } from "../parts/portrait.js";
import { addShapes } from "../parts/marks.js";
import { mark } from "../parts/signs.js";
import { t } from "../words.js";

/** @typedef {import("../desk/slots.js").Edit} Edit */

addShapes({ page: [["M4.5 2.5h15v19h-15z", 2.4], ["M8 8h8M8 12h8M8 16h5", 2]] });

const PREVIEW_MS = 350;
const TYPED_MS = 600;
const MOST_UNDONE = 100;

/** @param {import("../main.js").Way} way */
export async function write(way) {
  const from = way.params.get("from");
  const [kit, { sources }] = await Promise.all([get("desk/starts"), get("sources")]);
  /** @type {import("../desk/draft.js").Draft} */
  let draft = drafts.load() ?? { text: "", source: "", vehicle: null, customer: "", from: null };
  /** @type {any} */
  let look;
  if (from) {
    look = await post("desk/new", { from_sha256: from });
    draft = { ...draft, text: look.text, customer: way.params.get("customer") ?? "", from };
  } else if (way.params.has("new") || !draft.text) {
    look = await post("desk/new", {});
    draft = { text: look.text, source: draft.source === "file" ? "" : draft.source, vehicle: null, customer: way.params.get("customer") ?? "", from: null };
  } else look = await post("desk/edit", { text: draft.text, ...drafts.inCar(draft) }).catch((error) => ({ error }));
  if (look.error) {
    // A source that is gone must not keep the recipe from being opened.
    draft.source = "";
    look = await post("desk/edit", { text: draft.text });
  }
  drafts.save(draft);
  // Going back and forth begins nothing anew.
  if (from || way.params.has("new")) history.replaceState(null, "", "#/desk/write");

  /** @type {string[]} */
  const before = [];
  let chosen = look.data?.capture?.length ? 0 : -1;
  let toml = false;
  let queue = Promise.resolve();
  let asked = 0;
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  let waiting;
  /** @type {any[]} */
  let changes = [];
  const was = draft.from ? await textOf(draft) : null;

  const phone = new Phone();
  const heading = h("h1", { tabindex: -1 });
  const small = h("small", {});
  const list = h("ul", { class: "caps" });
  const add = h("div", { class: "adds" }, ...kit.starts.map((/** @type {any} */ one) => h("button", { type: "button", title: one.about, onclick: () => begin(one.kind) }, one.title)));
  const car = h("div", { class: "car" });
  const pane = h("div", { class: "pane" });
  const said = h("ul", { class: "says", "aria-live": "polite" });
  const undo = verb(t("write.undo"), takeBack);
  const side = h("section", { class: "side" }, h("h2", {}, t("write.ask")), list, h("h2", {}, t("write.add")), add, car);
  const work = h("section", { class: "work" }, pane, said);
  const page = frame({ to: "#/desk", back: t("write.back"), title: heading, acts: [undo, verb(t("write.prove"), () => { location.hash = "#/desk/prove"; }), verb(t("write.send"), () => { location.hash = "#/desk/send"; }, true)] },
    h("div", { class: "panes" }, side, work, phone.container));
  page.querySelector(".named small")?.replaceWith(small);

  /** Edits the text; while somebody types, only what is beside the sentence is drawn anew. @param {Edit[]} edits @param {boolean} [typing] @param {number} [choose] the capture to show then */
  function change(edits, typing = false, choose = undefined) {
    queue = queue.then(async () => {
      if (!edits.length) return;
      const text = draft.text;
      try {
        look = await post("desk/edit", { text, edits, ...drafts.inCar(draft) });
      } catch (error) {
        trouble(error);
        return;
      }
      remember(text);
      draft = { ...draft, text: look.text };
      if (choose !== undefined) chosen = choose;
      // Kept when the screen that belongs to it stands: no button of the text before is left to press.
      try {
        if (typing) beside();
        else draw();
      } finally {
        drafts.save(draft);
      }
    });
    return queue;
  }

  /** @param {string} text */
  function remember(text) {
    if (before.at(-1) !== text) before.push(text);
    if (before.length > MOST_UNDONE) before.shift();
  }

  /** @param {string} text */
  function keep(text) {
    draft = { ...draft, text };
    drafts.save(draft);
  }

  /** Looks at a text as it is. @param {string} text @param {boolean} [typing] */
  function lookAt(text, typing = false) {
    keep(text);
    queue = queue.then(async () => {
      try {
        look = await post("desk/edit", { text, ...drafts.inCar(draft) });
      } catch (error) {
        trouble(error);
        return;
      }
      if (typing) beside();
      else draw();
    });
  }

  /** @param {unknown} error */
  function trouble(error) {
    if (!way.current()) return;
    if (!(error instanceof Refused)) throw error;
    said.replaceChildren(h("li", { class: "wide" }, problem(error)));
  }

  function takeBack() {
    const text = before.pop();
    if (text !== undefined) lookAt(text);
  }

  /** @param {string} kind */
  async function begin(kind) {
    toml = false;
    await change([{ do: "add", value: kind }], true);
    chosen = (look.data?.capture?.length ?? 0) - 1;
    // A recipe with no name of its own yet takes the first thing that it asks for.
    draw();
  }

  function draw() {
    if (!way.current()) return;
    const { activeElement } = document;
    const key = activeElement instanceof HTMLElement ? activeElement.dataset.key : undefined;
    const captures = look.data?.capture ?? [];
    if (chosen >= captures.length) chosen = captures.length - 1;
    if (!look.data) toml = true;
    pane.replaceChildren(...(toml ? [foot(), ...raw()] : [...(chosen === -2 ? whole() : captures.length ? sentence() : empty()), foot()]));
    if (key) /** @type {HTMLElement | null} */ ([...pane.querySelectorAll("[data-key]")].find((one) => /** @type {HTMLElement} */ (one).dataset.key === key) ?? null)?.focus();
    beside();
  }

  /** Everything but the sentence itself. */
  function beside() {
    if (!way.current()) return;
    const data = look.data ?? {};
    heading.textContent = data.title || t("write.untitled");
    document.title = `${heading.textContent} – ${t("name")}`;
    const who = draft.customer || data.vehicle;
    small.textContent = who ? t("write.revision_for", { n: data.revision ?? 1, who }) : t("write.revision", { n: data.revision ?? 1 });
    undo.disabled = !before.length;
    side.classList.toggle("bare", !data.capture?.length);
    const sign = JSON.stringify([chosen, toml, (data.capture ?? []).map((/** @type {any} */ one, /** @type {number} */ n) => [one.title, one.id, one.place, one.sweep && 1, one.collect, one.limit && 1, wrongIn(n)])]);
    if (sign !== drawn) list.replaceChildren(...(data.capture ?? []).map(row), rowOf(-2, h("span", { class: "sheet-of" }, mark("page")), t("write.all"), t("write.all_text")));
    drawn = sign;
    if (!car.childElementCount) car.replaceChildren(chooseCar(), ...(draft.customer && draft.from ? [h("a", { class: "quietly", href: `#/desk/customer?name=${encodeURIComponent(draft.customer)}` }, t("write.came"))] : []));
    said.replaceChildren(...says(look, toml ? -2 : chosen, was === null ? null : { changes, n: was.revision }));
    clearTimeout(waiting);
    waiting = setTimeout(preview, PREVIEW_MS);
  }

  let drawn = "";
  const wrongIn = (/** @type {number} */ n) => look.findings.some((/** @type {any} */ one) => one.place === n && one.level === "error");

  /** @param {any} capture @param {number} n */
  function row(capture, n) {
    const wrong = wrongIn(n);
    const kind = capture.sweep ? "sweep" : capture.collect !== undefined ? "collect" : "hold";
    return rowOf(n, wrong ? h("span", { class: "wrong" }, mark("cross", t("write.bad"), "no")) : h("span", { class: "portrait" }, lane({ kind, place: capture.place ?? "road", limited: Boolean(Object.keys(capture.limit ?? {}).length) })), capture.title || capture.id || "–");
  }

  /** @param {number} n @param {Node | null} picture @param {string} name @param {string} [under] */
  function rowOf(n, picture, name, under = "") {
    return h("li", {}, h("button", { class: "cap", type: "button", "aria-pressed": String(chosen === n && !toml), onclick: () => { chosen = n; toml = false; draw(); } },
      picture ?? h("span", { class: "portrait" }), h("span", {}, name, under ? h("small", {}, under) : null)));
  }

  function sentence() {
    const n = chosen;
    const last = look.data.capture.length - 1;
    const tool = (/** @type {string} */ key, /** @type {Edit} */ edit, /** @type {number} */ then, off = false) =>
      h("button", { class: "quietly", type: "button", disabled: off, onclick: () => change([edit], false, then) }, t(key));
    return [new Sentence(look.data, n, kit.signals, change).container,
      h("details", { class: "more", ...(more ? { open: true } : {}), ontoggle: (/** @type {Event} */ event) => { more = /** @type {HTMLDetailsElement} */ (event.target).open; } }, h("summary", {}, t("write.more")), captureFields(look.data, n, kit.signals, change),
        h("p", { class: "tools" }, tool("write.up", { do: "move", path: ["capture", n], value: n - 1 }, n - 1, n === 0), tool("write.down", { do: "move", path: ["capture", n], value: n + 1 }, n + 1, n === last),
          tool("write.copy", { do: "copy", path: ["capture", n] }, n + 1), tool("write.remove", { do: "remove", path: ["capture", n] }, Math.max(0, n - 1))))];
  }
  let more = false;

  const whole = () => [recipeFields(look.data, kit.signals, change)];

  /** Nothing is asked for yet: the starting points, each with what it is. */
  function empty() {
    return [h("div", { class: "beginning" }, h("p", { class: "lead-in" }, t("write.begin")), h("p", { class: "under" }, t("write.begin_text")),
      h("ul", { class: "starts" }, ...kit.starts.map((/** @type {any} */ one) => h("li", {}, h("button", { type: "button", onclick: () => begin(one.kind) }, h("b", {}, one.title), h("span", {}, one.about))))))];
  }

  /** The text itself. */
  function raw() {
    const area = h("textarea", { class: "toml", spellcheck: "false", "aria-label": t("write.text"), "data-key": "toml", rows: 24 });
    area.value = draft.text;
    let first = true;
    area.addEventListener("input", () => {
      if (first) remember(draft.text);
      first = false;
      clearTimeout(waiting);
      waiting = setTimeout(() => lookAt(area.value, true), TYPED_MS);
    });
    return [area];
  }

  function foot() {
    return h("p", { class: "foot" }, h("button", { class: "quietly", type: "button", disabled: toml && !look.data, onclick: () => { toml = !toml; draw(); } }, t(toml ? "write.sentences" : "write.toml")));
  }

  /** In which car it is checked. */
  function chooseCar() {
    const file = h("input", { type: "file", accept: ".toml", hidden: true, "aria-label": t("write.file"), onchange: async () => {
      const chosenFile = file.files?.[0];
      if (!chosenFile) return;
      draft = { ...draft, source: "file", vehicle: await chosenFile.text() };
      lookAt(draft.text);
    } });
    const choices = [["none", t("write.no_car")], ...sources.filter((/** @type {any} */ one) => one.kind !== "replay").map((/** @type {any} */ one) => [one.id, one.title]), ["file", t("write.own_car")]];
    const chooser = pick({ name: t("write.car"), value: draft.source || "none", choices, edits: () => [] }, () => {
      if (chooser.value === "file") file.click();
      else {
        draft = { ...draft, source: chooser.value === "none" ? "" : chooser.value };
        lookAt(draft.text);
      }
    });
    return h("label", {}, t("write.car"), " ", chooser, file);
  }

  async function preview() {
    const mine = ++asked;
    const capture = look.captures[Math.max(0, chosen)];
    if (was !== null && look.plan) await post("desk/changes", { old: was.text, new: draft.text }).then((made) => { changes = made.changes; }, () => undefined);
    if (draft.from && draft.customer && look.plan) await post("desk/asked", { customer: draft.customer, text: draft.text, sent: false }).catch(() => undefined);
    const made = capture ? await post("desk/preview", { text: draft.text, capture: capture.id, ...drafts.inCar(draft) }).catch(() => null) : null;
    if (mine !== asked || !way.current()) return;
    phone.update(made?.moments ?? {});
    if (was !== null) said.replaceChildren(...says(look, toml ? -2 : chosen, { changes, n: was.revision }));
  }

  const keys = (/** @type {KeyboardEvent} */ event) => {
    if (event.key !== "z" || !(event.ctrlKey || event.metaKey) || event.shiftKey) return;
    if (document.activeElement instanceof HTMLInputElement || document.activeElement instanceof HTMLTextAreaElement) return;
    event.preventDefault();
    takeBack();
  };
  addEventListener("keydown", keys);
  way.leave(() => { removeEventListener("keydown", keys); clearTimeout(waiting); asked += 1; });
  draw();
  return page;
}

/** The revision before, where it is still here. @param {import("../desk/draft.js").Draft} draft */
async function textOf({ customer, from }) {
  if (!customer) return null;
  const found = await get("desk/customer", { name: customer }).catch(() => null);
  return found?.asked.find((/** @type {any} */ one) => one.sha256 === from) ?? null;
}
