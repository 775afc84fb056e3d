// The one place that wires: words, live stream, and which screen the address names. Screens load when asked for.

import { Refused } from "./api.js";
import { h } from "./dom.js";
import { firstState, start as startLive } from "./live.js";
import { needWords, t } from "./words.js";

/**
 * @typedef {object} Way what a screen is given
 * @property {URLSearchParams} params
 * @property {(hash: string) => void} go
 * @property {() => boolean} current whether the screen is still the one shown
 * @property {(undo: () => unknown) => void} leave runs when another screen is shown
 * @property {(href: string) => Promise<void>} style loads a style sheet once
 * @property {string} hand
 * @property {string} armLater the capture whose arming was put off
 */

/** @type {Record<string, () => Promise<(way: Way) => Promise<HTMLElement> | HTMLElement>>} */
const SCREENS = {
  "": async () => (await import("./screens/start.js")).start,
  drives: async () => (await import("./screens/start.js")).drives,
  recipe: async () => (await import("./screens/recipe.js")).recipe,
  source: async () => (await import("./screens/source.js")).source,
  ready: async () => (await import("./screens/ready.js")).ready,
  who: async () => (await import("./screens/who.js")).who,
  notes: async () => (await import("./screens/notes.js")).notes,
  drive: async () => (await import("./screens/drive.js")).drive,
  arm: async () => (await import("./screens/arm.js")).arm,
  after: async () => (await import("./screens/after.js")).after,
  window: async () => (await import("./screens/window.js")).window,
};

let turn = 0;
/** @type {(() => unknown)[]} */
let undo = [];
const kept = { armLater: "" };
/** @type {Map<string, Promise<void>>} */
const sheets = new Map();

/** @param {string} href */
function style(href) {
  if (!sheets.has(href)) {
    const link = h("link", { rel: "stylesheet", href });
    const loaded = new Promise((done, failed) => {
      link.addEventListener("load", () => done(undefined));
      link.addEventListener("error", failed);
    });
    document.head.append(link);
    sheets.set(href, /** @type {Promise<void>} */ (loaded));
  }
  return /** @type {Promise<void>} */ (sheets.get(href));
}

/** What is kept on this phone under a name; nothing where storage is shut. @param {string} name */
function stored(name) {
  try {
    return localStorage.getItem(name);
  } catch {
    return null;
  }
}

async function show() {
  const mine = ++turn;
  for (const step of undo.splice(0)) step();
  const [path, query = ""] = location.hash.replace(/^#\/?/, "").split("?");
  const screen = SCREENS[path] ?? SCREENS[""];
  /** @type {Way} */
  const way = {
    params: new URLSearchParams(query),
    go: (hash) => (hash === location.hash ? show() : location.replace(hash)),
    current: () => mine === turn,
    leave: (step) => (mine === turn ? void undo.push(step) : void step()),
    style,
    hand: stored("hand") ?? "right",
    get armLater() { return kept.armLater; },
    set armLater(id) { kept.armLater = id; },
  };
  let drawn;
  try {
    const [draw] = await Promise.all([screen(), path === "drive" ? null : style("css/pages.css"), path === "drive" ? null : needWords("parked")]);
    drawn = await draw(way);
  } catch (error) {
    const [{ problem }] = await Promise.all([import("./parts/page.js"), needWords("parked").catch(() => undefined)]);
    drawn = h("main", { class: "page" }, h("h1", { class: "title", tabindex: -1 }, t("page.failed")), problem(error instanceof Refused ? error : new Refused("page", String(error))),
      h("div", { class: "grow" }), h("div", { class: "acts" }, h("a", { class: "act main wide", href: "#/" }, t("page.home"))));
  }
  if (mine !== turn) return;
  document.body.replaceChildren(drawn);
  document.body.dataset.screen = path || "start";
  const heading = drawn.querySelector("h1");
  document.title = heading?.textContent ? `${heading.textContent} – ${t("name")}` : t("name");
  scrollTo(0, 0);
  if (heading?.hasAttribute("tabindex")) heading.focus({ preventScroll: true });
}

async function begin() {
  await needWords("car");
  const state = await firstState().catch(() => null);
  startLive();
  const going = state?.drive && !["none", "ended"].includes(state.drive.phase);
  if (going && !location.hash.replace(/^#\/?/, "")) location.replace("#/drive");
  addEventListener("hashchange", show);
  await show();
}

begin().catch(() => {
  // No words came: the one sentence for that stands in the page itself.
  const silent = document.getElementById("silent");
  if (silent) silent.hidden = false;
});
