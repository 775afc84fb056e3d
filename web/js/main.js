// The one place that wires: words, live stream, and which screen the address names. Screens load when asked for.

import { Refused, get } from "./api.js";
import { h } from "./dom.js";
import { firstState, start as startLive } from "./live.js";
import { known, learn } from "./store.js";
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
  recipe: async () => (await import("./screens/recipe.js")).recipe,
  source: async () => (await import("./screens/source.js")).source,
  ready: async () => (await import("./screens/ready.js")).ready,
  who: async () => (await import("./screens/who.js")).who,
  notes: async () => (await import("./screens/notes.js")).notes,
  drive: async () => (await import("./screens/drive.js")).drive,
  arm: async () => (await import("./screens/arm.js")).arm,
  after: async () => (await import("./screens/after.js")).after,
  window: async () => (await import("./screens/window.js")).window,
  sound: async () => (await import("./screens/sound.js")).sound,
  facts: async () => (await import("./screens/facts.js")).facts,
  pedal: async () => (await import("./screens/pedal.js")).pedal,
  rates: async () => (await import("./screens/rates.js")).rates,
  dial: async () => (await import("./screens/dial.js")).dial,
  send: async () => (await import("./screens/send.js")).send,
  bundle: async () => (await import("./screens/bundle.js")).bundle,
  join: async () => (await import("./screens/join.js")).join,
  devices: async () => (await import("./screens/devices.js")).devices,
  desk: async () => (await import("./screens/desk.js")).desk,
  request: async () => (await import("./screens/request.js")).request,
};

for (const name of ["drives", "traces", "figures", "power", "coverage", "health", "compare", "label"]) SCREENS[name] = async () => (await import("./screens/review.js")).screen(name);

/** How long the first screen waits to hear what this device may do. */
const ME_MS = 3000;

const offline = async () => (await import("./screens/offline.js")).offline;

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
  const [whole, query = ""] = location.hash.replace(/^#\/?/, "").split("?");
  const path = whole.split("/")[0];
  // Without a word from the server there is no drive to show.
  const car = path === "drive" && known.live;
  const screen = path === "drive" && !car ? offline : (SCREENS[path] ?? SCREENS[""]);
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
    const [draw] = await Promise.all([screen(), car ? null : style("css/pages.css"), car ? null : needWords("parked")]);
    drawn = await draw(way);
  } catch (error) {
    const { failed } = await import("./screens/failed.js");
    drawn = await failed(error, way);
  }
  if (mine !== turn) return;
  document.body.replaceChildren(drawn);
  if (!car) import("./parts/reach.js").then(({ attach }) => attach(drawn, path, way)).catch(() => undefined);
  document.body.dataset.screen = path || "start";
  const heading = drawn.querySelector("h1");
  document.title = heading?.textContent ? `${heading.textContent} – ${t("name")}` : t("name");
  scrollTo(0, 0);
  if (heading?.hasAttribute("tabindex")) heading.focus({ preventScroll: true });
}

async function begin() {
  const [state] = await Promise.all([firstState().catch(remember), mayAct(), needWords("car")]);
  startLive();
  const { drive } = state ?? known.live ?? {};
  const going = drive && !["none", "ended"].includes(drive.phase);
  if (going && !location.hash.replace(/^#\/?/, "")) location.replace("#/drive");
  addEventListener("hashchange", show);
  await show();
  (await import("./offline.js")).start([...Object.values(SCREENS), offline], style);
}

/** Learns what this device may do: one that watches only is shown nothing to press that would be refused. */
async function mayAct() {
  const me = await get("me", {}, AbortSignal.timeout(ME_MS)).catch(() => null);
  learn({ joins: Boolean(me?.laptop && me.lan), laptop: Boolean(me?.laptop) });
  if (me?.role !== "onlooker") return;
  await Promise.all([needWords("joining.page"), style("css/onlooker.css")]);
  document.documentElement.dataset.may = "watch";
  learn({ watching: true });
}

/** @param {unknown} error why the server did not say how things are */
async function remember(error) {
  if (error instanceof Refused && error.code === "unreachable") (await import("./offline.js")).remember();
  return null;
}

begin().catch(() => {
  // No words came: the one sentence for that stands in the page itself.
  const silent = document.getElementById("silent");
  if (silent) silent.hidden = false;
});
