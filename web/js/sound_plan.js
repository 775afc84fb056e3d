// What is heard when: the rules of tones and words, without a clock and without a sound. States and times go in,
// commands come out; the layer that makes them audible is elsewhere.

import { lengthOf, TONES } from "./sound_tones.js";

/** After an alarm's burst its words wait so long. */
const BREATH_MS = 150;
/** From the start of one utterance to that of the next; alarms and lost links apart. */
const APART_MS = 4000;
/** So long a tone of little weight may wait for speech or a weightier tone to end. */
const PATIENCE_MS = 1000;
/** States come ten times a second; after so long without one nothing is repeated. */
const DEAF_MS = 3000;
const DUCKED_DB = -12;
const BAND_APART_MS = 5000;
/** A voice that never says that it has ended is taken to have ended. */
const LONGEST_MS = 9000;

/**
 * @typedef {object} Wishes what a person has chosen
 * @property {boolean} tones
 * @property {"all" | "alarms" | "off"} speech
 * @property {boolean} vibrate
 * @property {"once" | "always" | "never"} units whether units are spoken: once a capture, with every number, never
 *
 * @typedef {object} Heard what of the live state can be heard
 * @property {string} alarm names the alarm that is open; empty: none
 * @property {boolean} inside its value is back inside
 * @property {boolean} ahead a limit is close
 * @property {string} link `up`, `lost` or `none`
 * @property {boolean} phoneLost
 * @property {{lost: string, back: string}} words said when the laptop is lost, and when it is back
 * @property {"" | "high" | "low"} off the correction that is called for
 * @property {string} outcome `secured` or `missed`, with what tells it from the one before
 * @property {string} attempt names the attempt that runs
 * @property {boolean} sweep
 * @property {number} progress of a hold that runs
 * @property {number | null} left seconds of a hold that runs
 * @property {string} capture
 * @property {string} code of the line
 * @property {string} speech
 * @property {string | number} speechId tells an utterance from the one before, also of another drive
 * @property {string} unit spoken after the words; empty: none
 * @property {number} weight of the words: a priority as tones have it
 *
 * @typedef {{do: "tone", name: string, db: number, at: number} | {do: "cut"} | {do: "hush"} | {do: "vibrate", pattern: number[]}
 *   | {do: "say", text: string, weight: number}} Command
 */

export class SoundPlan {
  /** @param {Wishes} wishes */
  constructor(wishes) {
    this.wishes = wishes;
    /** @type {Heard | null} */
    this.before = null;
    /** @type {{name: string, until: number} | null} */
    this.playing = null;
    /** @type {{name: string, by: number} | null} */
    this.patient = null;
    /** @type {Map<string, {next: number, until: number, left: number}>} */
    this.repeats = new Map();
    /** @type {{weight: number, since: number, unit: string} | null} */
    this.talking = null;
    /** @type {{text: string, weight: number, code: string, unit: string, at: number} | null} */
    this.waiting = null;
    this.said = -Infinity;
    this.inBand = -Infinity;
    this.unitsOf = "";
    /** @type {string | number} */
    this.heardId = -1;
    this.heardAt = -Infinity;
    /** @type {Command[]} */
    this.out = [];
  }

  /**
   * Takes in a state.
   * @param {Heard} now
   * @param {number} t milliseconds of any steady clock
   * @returns {Command[]}
   */
  hear(now, t) {
    const was = this.before;
    this.before = now;
    this.heardAt = t;
    if (was) this.#changes(was, now, t);
    else if (now.alarm) this.#play("limit_passed", t);
    if (!now.phoneLost && now.speech && now.speechId !== this.heardId) {
      this.heardId = now.speechId;
      this.#ask(now, t);
    }
    // What was to be said about a line that has gone is no longer true.
    if (this.waiting && this.waiting.weight > 3 && this.waiting.code !== now.code) this.waiting = null;
    return this.tick(t);
  }

  /**
   * Time passes.
   * @param {number} t
   * @returns {Command[]}
   */
  tick(t) {
    // Nothing has been heard of the drive: what was true then may not be any more.
    if (t - this.heardAt > DEAF_MS) this.repeats.clear();
    for (const [name, again] of [...this.repeats]) {
      if (t < again.next) continue;
      if (again.left < 1 || again.next >= again.until) this.repeats.delete(name);
      else {
        again.next += TONES[name].again?.every ?? Infinity;
        again.left -= 1;
        this.#sound(name, t);
      }
    }
    if (this.talking && t - this.talking.since > LONGEST_MS) this.ended();
    if (this.patient && t > this.patient.by) this.patient = null;
    if (this.patient && !this.#blocked(TONES[this.patient.name].priority, t)) {
      const { name } = this.patient;
      this.patient = null;
      this.#sound(name, t);
    }
    this.#speak(t);
    return this.out.splice(0);
  }

  /** The voice has ended what it said. */
  ended() {
    const unit = this.talking?.unit;
    this.talking = null;
    // The unit follows at once, as an utterance of its own.
    if (unit && !this.waiting) this.waiting = { text: unit, weight: 3.5, code: this.before?.code ?? "", unit: "", at: -Infinity };
  }

  /**
   * @param {Heard} was
   * @param {Heard} now
   * @param {number} t
   */
  #changes(was, now, t) {
    if (now.alarm && !now.phoneLost && (now.alarm !== was.alarm || (was.inside && !now.inside))) this.#play("limit_passed", t);
    if (!now.alarm || now.inside) this.repeats.delete("limit_passed");
    if (now.phoneLost !== was.phoneLost) {
      this.#play(now.phoneLost ? "car_lost" : "car_back", t);
      this.#ask({ ...now, speech: now.phoneLost ? now.words.lost : now.words.back, unit: "", weight: 3 }, t);
    }
    if (now.phoneLost) {
      // What the car does now is not known here: nothing is repeated on its account.
      this.repeats.clear();
      return;
    }
    if (now.ahead && !was.ahead) this.#play("limit_ahead", t);
    if (!now.ahead) this.repeats.delete("limit_ahead");
    if (now.link === "lost" && was.link !== "lost") this.#play("car_lost", t);
    if (now.link === "up" && was.link === "lost") this.#play("car_back", t);
    if (now.off !== was.off) {
      this.repeats.delete("too_high");
      this.repeats.delete("too_low");
      if (now.off) this.#play(now.off === "high" ? "too_high" : "too_low", t);
    }
    if (now.outcome && now.outcome !== was.outcome) this.#play(now.outcome.split(" ")[0], t);
    if (now.attempt && now.attempt !== was.attempt && t - this.inBand >= BAND_APART_MS) {
      this.inBand = t;
      this.#play("in_band", t);
    }
    if (now.attempt && now.attempt === was.attempt && !now.sweep) {
      if (was.progress < 0.5 && now.progress >= 0.5) this.#play("half", t);
      if (now.left !== was.left && now.left !== null && now.left >= 1 && now.left <= 3) this.#play("tick", t);
    }
  }

  /** Sounds a tone, and again as its table says. @param {string} name @param {number} t */
  #play(name, t) {
    const { again, priority } = TONES[name];
    if (again) this.repeats.set(name, { next: t + again.every, until: t + (again.most ?? Infinity), left: (again.times ?? Infinity) - 1 });
    if (priority <= 2 && this.talking) {
      this.out.push({ do: "hush" });
      this.talking = null;
    }
    if (priority <= 2) this.waiting = null;
    this.#sound(name, t);
  }

  /** Whether a tone of that weight has to wait now. @param {number} priority @param {number} t */
  #blocked(priority, t) {
    const over = this.playing && this.playing.until > t ? TONES[this.playing.name].priority : 9;
    return over <= priority || (this.talking !== null && priority >= 5);
  }

  /** @param {string} name @param {number} t */
  #sound(name, t) {
    const { priority, vibrate } = TONES[name];
    if (this.#blocked(priority, t) && this.playing?.name !== name) {
      if (!this.patient || TONES[this.patient.name].priority >= priority) this.patient = { name, by: t + PATIENCE_MS };
      return;
    }
    if (this.playing && this.playing.until > t && this.wishes.tones) this.out.push({ do: "cut" });
    this.playing = { name, until: t + lengthOf(name) };
    if (this.wishes.tones) this.out.push({ do: "tone", name, db: this.talking && priority === 4 ? DUCKED_DB : 0, at: t });
    if (this.wishes.vibrate && vibrate.length) this.out.push({ do: "vibrate", pattern: vibrate });
  }

  /** Something new is to be said. @param {Heard} now @param {number} t */
  #ask(now, t) {
    if (this.wishes.speech === "off" || (this.wishes.speech === "alarms" && now.weight > 3)) return;
    if (this.waiting && this.waiting.weight <= 3 && now.weight > 3) return;
    const tone = this.wishes.tones && this.playing && this.playing.until > t && TONES[this.playing.name].priority <= now.weight ? this.playing.until : -Infinity;
    this.waiting = { text: now.speech, weight: now.weight, code: now.code, unit: this.#unit(now), at: tone > t ? tone + BREATH_MS : t };
  }

  /** The unit to be spoken after the words, or nothing. @param {Heard} now */
  #unit(now) {
    if (!now.unit || this.wishes.units === "never") return "";
    const first = this.unitsOf !== `${now.capture} ${now.unit}`;
    return first || this.wishes.units === "always" ? now.unit : "";
  }

  /** Says what waits, when its time has come. @param {number} t */
  #speak(t) {
    const next = this.waiting;
    if (!next || t < next.at) return;
    const urgent = next.weight <= 3;
    if (this.talking && !urgent) return;
    if (!urgent && next.weight !== 3.5 && t - this.said < APART_MS) return;
    if (this.talking) this.out.push({ do: "hush" });
    this.waiting = null;
    if (next.weight !== 3.5) this.said = t;
    this.talking = { weight: next.weight, since: t, unit: next.unit };
    if (next.unit) this.unitsOf = `${this.before?.capture} ${next.unit}`;
    this.out.push({ do: "say", text: next.text, weight: next.weight });
  }
}

/**
 * What of the live state can be heard.
 * @param {import("./types.js").LiveState} live
 * @param {import("./types.js").Phone} phone
 * @param {{lost: string, back: string}} words said when the laptop is lost, and when it is back
 * @returns {Heard}
 */
export function heard({ face, alarm, link, lead, drive }, phone, words) {
  const over = drive.phase === "ended" || drive.phase === "none";
  const runs = !over && lead?.phase === "running" ? `${drive.id} ${lead.id} ${lead.number ?? ""}` : "";
  const clock = face.number_kind === "clock" ? /^(\d+):(\d\d)$/.exec(face.number) : null;
  return {
    alarm: alarm && !over ? `${drive.id} ${alarm.capture ?? ""} ${alarm.signal}` : "",
    inside: Boolean(alarm?.inside),
    ahead: face.ground === "warn",
    link: link.state,
    phoneLost: phone.lost,
    words,
    off: face.ground !== "steer" ? "" : face.mark === "down" ? "high" : face.mark === "up" ? "low" : "",
    outcome: face.code === "secured" || face.code === "everything" ? `secured ${lead?.id ?? ""}` : face.code === "missed" ? `missed ${lead?.id} ${face.caption}` : "",
    attempt: runs,
    sweep: lead?.kind === "sweep",
    progress: lead?.lane?.progress ?? 0,
    left: clock && runs ? Number(clock[1]) * 60 + Number(clock[2]) : null,
    capture: `${drive.id} ${lead?.id ?? ""}`,
    code: face.code,
    speech: over ? "" : (face.speech ?? ""),
    speechId: `${drive.id} ${face.speech_id ?? 0}`,
    unit: face.speech_unit ?? "",
    weight: weightOf(face),
  };
}

/** The priority that the words of a face have. @param {import("./types.js").Face} face */
function weightOf({ ground, code }) {
  if (ground === "alarm") return 1;
  if (ground === "warn") return 2;
  if (ground === "lost" || code === "lost_car" || code === "stopping") return 3;
  if (ground === "steer") return 4;
  return code === "secured" || code === "missed" || code === "everything" ? 5 : 6;
}
