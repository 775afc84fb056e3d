// Drive: what now. One controller for the faces; each part draws itself from the state.

import { act, get, seg } from "../api.js";
import { h } from "../dom.js";
import { lost, onEvent } from "../live.js";
import { Bar } from "../parts/bar.js";
import { Instruction } from "../parts/instruction.js";
import { Lane } from "../parts/lane.js";
import { Rows } from "../parts/rows.js";
import { Strip } from "../parts/strip.js";
import { AlarmFace, DoneFace, LockedFace } from "../parts/whole.js";
import { follow, known, learnPhone } from "../store.js";
import { Trace } from "../trace.js";
import { t } from "../words.js";

/** @typedef {import("../types.js").LiveState} LiveState */
/** @typedef {import("../types.js").Phone} Phone */

const DONE = new Set(["everything", "nothing_left"]);

/** Which face takes the screen. @param {LiveState} live */
export function faceOf({ drive, face, alarm }) {
  if (alarm || face.ground === "alarm") return "alarm";
  if (drive.phase === "stopping") return "drive";
  if (drive.locked) return "locked";
  return DONE.has(face.code) && drive.phase !== "paused" ? "done" : "drive";
}

/**
 * The instruction as the phone must give it: the server's, or its own where it has lost the server.
 * @param {LiveState} live
 * @param {Phone} phone
 * @returns {import("../types.js").Face}
 */
export function faceShown({ face, trouble, link }, phone) {
  if (!phone.lost && trouble?.stopped) {
    // Nothing is kept any more: whatever the car does now, that comes first.
    return {
      ground: "lost", mark: "dashed", code: "not_kept", number: "", number_kind: "none",
      line: t("drive.not_recording"), caption: trouble.text,
    };
  }
  if (!phone.lost && link.reason) return { ...face, caption: `${face.caption} ${link.reason}`.trim() };
  if (!phone.lost) return trouble && face.ground === "calm" ? { ...face, caption: trouble.text } : face;
  return {
    ground: "lost", mark: "dashed", code: "lost_laptop", number: "", number_kind: "none",
    line: t(phone.told ? "lost.stop" : "lost.line"), caption: t("lost.caption", { s: phone.age_s }),
  };
}

/** @param {import("../main.js").Way} way */
export function drive(way) {
  const send = (/** @type {string} */ action, /** @type {Record<string, unknown>} */ body = {}) => act(action, body).catch(() => undefined);
  const stop = () => {
    if (known.phone.lost) return learnPhone({ told: true });
    // Pressed before the silence was noticed: that it did not arrive must be said at once.
    return act("stop").catch(({ code }) => code === "unreachable" && lost(undefined, true));
  };
  const capture = () => known.live?.lead?.id;
  const instruction = new Instruction();
  const strip = new Strip();
  const lane = new Lane();
  const rows = new Rows();
  /** @type {import("../parts/sheet.js").Sheet | null} fetched once the drive is on the screen */
  let sheet = null;
  /** Whether it was asked for before it was here. */
  let wanted = false;
  const more = () => {
    wanted = !sheet;
    if (known.live) sheet?.open(known.live);
  };
  const bar = new Bar({ stop, carryOn: () => send("carry-on"), more });
  const again = h("button", { class: "act main wide tall again", type: "button", onclick: () => send("resume") }, t("more.resume"));
  const confirm = h("button", { class: "act main wide tall again", type: "button", hidden: true, onclick: confirmAll }, t("drive.confirm"));
  rows.container.append(h("li", {}, again, confirm));
  if (known.watching) bar.container.replaceChildren(h("p", { class: "watching" }, t("watching.here")));
  const main = h("main", { class: "drive", "data-hand": way.hand }, h("section", { class: "top" }, strip.container, instruction.container), lane.container, rows.container, bar.container);
  const faces = {
    drive: { container: main },
    alarm: new AlarmFace({ stop, seen: () => send("seen", { capture: capture() }) }),
    locked: new LockedFace({ stop, passenger: () => send("role", { role: "passenger" }) }),
    done: new DoneFace({ stop }),
  };
  const root = h("div", { class: "screen" });
  const trace = new Trace();
  let missed = false;
  /** @type {string} */
  let shown = "";

  /** @param {import("../store.js").Known} now */
  const update = ({ live, phone }) => {
    if (!live) return;
    const { drive: going, lead } = live;
    if (going.phase === "ended" || going.phase === "none") {
      // A drive that has only just been started: what is known here is still the one before it.
      const begun = way.params.get("id");
      if (begun && begun !== going.id) return;
      way.go(going.id ? `#/after?drive=${seg(going.id)}` : "#/");
      return;
    }
    if (live.face.code === "arm_standing" || live.face.code === "arm_parked_standing") {
      if (lead && way.armLater !== lead.id && !phone.lost && !known.watching) {
        way.go(`#/arm?capture=${seg(lead.id)}`);
        return;
      }
    } else way.armLater = "";

    // Whoever only watches has nothing to confirm, and nothing is locked for them.
    const name = phone.lost || (known.watching && faceOf(live) === "locked") ? "drive" : faceOf(live);
    if (name !== shown) {
      shown = name;
      if (name !== "drive") sheet?.container.close();
      root.replaceChildren(faces[/** @type {keyof typeof faces} */ (name)].container, ...(sheet ? [sheet.container] : []));
    }
    if (name === "alarm") faces.alarm.update(live);
    if (name === "locked") faces.locked.update(live, phone);
    if (name === "done") faces.done.update(live, phone);
    follow_trace(lead, phone);
    if (name !== "drive") return;

    const face = faceShown(live, phone);
    const paused = going.phase === "paused";
    const gone = phone.lost || phone.old || live.link.state === "lost";
    main.dataset.ground = face.ground;
    instruction.update(face);
    strip.update(live, phone);
    lane.update(paused ? null : lead, trace, gone);
    rows.update(paused ? null : lead, face.ground, phone.lost ? phone.age_s : null);
    again.hidden = !paused || phone.lost;
    confirm.hidden = paused || phone.lost || !lead?.confirm?.length;
    if (known.watching) return;
    bar.update(going.phase === "stopping" && !phone.lost);
  };

  /**
   * Keeps the thread; after a gap it is asked for.
   * @param {import("../types.js").Lead | null} lead
   * @param {Phone} phone
   */
  function follow_trace(lead, phone) {
    if (phone.lost) return;
    const running = lead?.lane && (lead.phase === "running" || lead.phase === "held");
    if (!lead || !lead.lane || !running) {
      if (lead?.phase !== "closed" && known.live?.link.state !== "lost") trace.clear();
      return;
    }
    const key = `${lead.id} ${lead.number ?? ""}`;
    const unseen = ["stale", "unknown", "missing", "unreadable"].includes(lead.lane.status);
    const late = key !== trace.key && lead.lane.progress > 0.02;
    if (late || missed) catchUp(lead.id, key);
    missed = false;
    trace.add(key, { x: lead.lane.head?.x ?? lead.lane.progress, y: unseen ? null : (lead.lane.head?.y ?? 0.5) });
  }

  /**
   * @param {string} id of the capture
   * @param {string} key
   */
  async function catchUp(id, key) {
    const drive = known.live?.drive.id;
    if (!drive) return;
    const answer = await get(`drives/${seg(drive)}/lane`, { capture: id }).catch(() => null);
    const points = (answer?.points ?? []).map((/** @type {[number, number | null]} */ [x, y]) => ({ x, y }));
    if (!points.length || trace.key !== key) return;
    trace.fill(key, [...points, ...trace.points.filter(({ x }) => x > points.at(-1).x)]);
    update(known);
  }

  // Once the drive is on the screen: nothing of it may come before that.
  requestAnimationFrame(() => setTimeout(addMore));
  async function addMore() {
    if (!way.current()) return;
    const [{ Sheet }] = await Promise.all([import("../parts/sheet.js"), way.style("css/sheet.css")]);
    sheet = new Sheet({ skip: () => send("skip", { capture: capture() }), comeBack, pause: () => send("pause"), resume: () => send("resume"), other: () => send("role", { role: null }), retry: () => send("retry"), go: way.go });
    root.append(sheet.container);
    if (wanted && shown === "drive") more();
    const [sound, { Ear }, { letSleep, stayOn }] = await Promise.all([import("../sound.js"), import("../parts/ear.js"), import("../wake.js")]);
    if (!way.current()) return;
    const ear = new Ear();
    strip.rec.before(ear.container);
    way.leave(follow((now) => ear.update(now.ear)));
    way.leave(letSleep);
    sound.start();
    stayOn();
  }

  /** All that nobody measures and a person confirms at a look. */
  async function confirmAll() {
    const asked = known.live?.lead;
    for (const item of asked?.confirm ?? []) await send("confirm", { capture: asked?.id, item });
  }

  /** Takes up again all that was skipped. */
  async function comeBack() {
    for (const one of known.live?.captures ?? []) if (one.gate === "skipped") await send("unskip", { capture: one.id });
  }
  way.leave(follow(update));
  way.leave(onEvent((name) => (missed ||= name === "gap")));
  return root;
}
