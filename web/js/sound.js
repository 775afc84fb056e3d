// What is heard and felt: the plan's commands made audible. Begins in a tap, because browsers let no sound out before;
// what cannot be heard is said on the page.

import { settings } from "./settings.js";
import { heard, SoundPlan } from "./sound_plan.js";
import { putTone } from "./sound_tones.js";
import { Voice } from "./speech.js";
import { follow, known, learn } from "./store.js";
import { has, t } from "./words.js";

const TICK_MS = 50;
const CUT_S = 0.005;

/** @type {AudioContext | null} */
let context = null;
/** @type {GainNode | null} */
let master = null;
/** @type {((at: number) => void) | null} */
let cut = null;
/** @type {Voice | null} */
let voice = null;
/** @type {SoundPlan | null} */
let plan = null;
/** @type {"on" | "none" | "blocked"} */
let voiceState = "blocked";
let tapped = false;

/** What a person has chosen, as the plan takes it. */
function wishes() {
  const { tones, speech, vibrate, spoken } = settings();
  return { tones, speech, vibrate, units: spoken };
}

/** Tells the page what can be heard. */
function tell() {
  const { tones, speech } = settings();
  const running = context?.state === "running";
  /** @type {import("./types.js").Ear} */
  const ear = {
    tones: !tones ? "off" : !("AudioContext" in globalThis) ? "none" : running ? "on" : "blocked",
    voice: speech === "off" ? "off" : voiceState === "none" ? "none" : tapped ? voiceState : "blocked",
  };
  if (ear.tones !== known.ear?.tones || ear.voice !== known.ear?.voice) learn({ ear });
}

/**
 * Begins to listen to the drive. Called inside a tap it may sound from now on; else the next tap lets it.
 * @param {string} [greeting] spoken at once, so that a person hears that the voice works
 */
export function start(greeting = "") {
  if (!plan) {
    const made = new SoundPlan(wishes());
    plan = made;
    follow(({ live, phone }) => live && run(made.hear(heard(live, phone, { lost: line("lost.speech"), back: line("lost.speech_back") }), performance.now())));
    setInterval(() => run(made.tick(performance.now())), TICK_MS);
    addEventListener("chosen", chosen);
    for (const event of ["pointerup", "keyup"]) addEventListener(event, wake, { capture: true });
    document.addEventListener("visibilitychange", () => !document.hidden && wake());
  }
  wake();
  if (greeting && settings().speech === "all") voice?.say(greeting);
  tell();
}

/** A text of the car's half, or nothing while it is not there. @param {string} key */
const line = (key) => (has(key) ? t(key) : "");

/** Lets sound out, where the browser allows it now. */
function wake() {
  if (!plan) return;
  const active = navigator.userActivation?.hasBeenActive ?? true;
  if (!context && "AudioContext" in globalThis && settings().tones && active) {
    context = new AudioContext({ latencyHint: "interactive" });
    context.addEventListener("statechange", tell);
    master = context.createGain();
    master.gain.value = settings().volume;
    master.connect(context.destination);
  }
  if (context?.state === "suspended" && active) context.resume().then(tell, tell);
  if (active && !tapped) {
    tapped = true;
    voice = new Voice((state) => {
      voiceState = state;
      tell();
    }, () => plan?.ended());
    voice.volume = settings().volume;
  }
  tell();
}

function chosen() {
  if (plan) plan.wishes = wishes();
  const { volume } = settings();
  if (master) master.gain.value = volume;
  if (voice) voice.volume = volume;
  wake();
}

/** @param {import("./sound_plan.js").Command[]} commands */
function run(commands) {
  for (const command of commands) {
    if (command.do === "tone") play(command.name, command.db);
    else if (command.do === "cut" && context) cut?.(context.currentTime);
    else if (command.do === "hush") voice?.hush();
    else if (command.do === "vibrate") navigator.userActivation?.hasBeenActive && navigator.vibrate?.(command.pattern);
    else if (command.do === "say" && !voice?.say(command.text)) plan?.ended();
  }
}

/**
 * Sounds one tone now, as the Sound screen does for each of them.
 * @param {string} name
 * @param {number} [db]
 */
export function play(name, db = 0) {
  if (context?.state !== "running" || !master) return false;
  cut = putTone(context, master, name, context.currentTime + CUT_S, db);
  return true;
}
