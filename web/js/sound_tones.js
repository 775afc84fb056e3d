// The tones: one table, and how one is made of sine waves. Pitch moves the way the driver should. Lengths in ms.

/**
 * @typedef {object} Note
 * @property {number} at from the tone's beginning
 * @property {number} ms how long
 * @property {number} hz
 * @property {number} [to] glides there
 *
 * @typedef {object} Tone
 * @property {1 | 2 | 3 | 4 | 5 | 6} priority 1 cuts all others
 * @property {Note[]} notes
 * @property {number[]} partials strength of the first, second ... multiple of the pitch
 * @property {number} [chord] a second pitch, as a multiple of the first
 * @property {number} [edge] a flat pulse with edges so long, instead of 10 ms attack and a decay
 * @property {number} [db]
 * @property {number[]} vibrate
 * @property {{every: number, most?: number, times?: number}} [again] while it lasts: how often, so long or so many in all
 */

const SOFT = [1, 0.35];
const DULL = [1, 0.12];
/** Urgent alarms: base from 1000 Hz, at least 3 harmonics, gaps up to 125 ms, full level at least 0.7 of the pulse
 * (Singer et al., NHTSA, 2015; figures from memory). Only `limit_passed` may meet all four. */
const URGENT = [1, 0.6, 0.4, 0.25];

/**
 * Notes one after the other.
 * @param {[number, number, number?][]} run pitch, length, and where it glides to
 * @param {number} [gap] silence between them
 * @returns {Note[]}
 */
function notes(run, gap = 0) {
  let at = 0;
  return run.map(([hz, ms, to]) => {
    const note = { at, ms, hz, ...(to ? { to } : {}) };
    at += ms + gap;
    return note;
  });
}

/** @type {Record<string, Tone>} */
export const TONES = {
  limit_passed: { priority: 1, notes: notes(Array.from({ length: 5 }, () => [1200, 140]), 80), partials: URGENT, edge: 8, vibrate: [400, 100, 400], again: { every: 2600, most: 10000 } },
  limit_ahead: { priority: 2, notes: notes([[988, 150], [988, 150]], 150), partials: [1, 0.5, 0.3], vibrate: [150, 150, 150], again: { every: 900 } },
  car_lost: { priority: 3, notes: notes([[587, 300], [587, 300]], 150), partials: DULL, vibrate: [300] },
  car_back: { priority: 3, notes: notes([[587, 120], [784, 120]]), partials: SOFT, vibrate: [] },
  too_high: { priority: 4, notes: notes([[780, 220, 520], [780, 220, 520]], 80), partials: SOFT, vibrate: [60], again: { every: 3000, times: 3 } },
  too_low: { priority: 4, notes: notes([[520, 220, 780], [520, 220, 780]], 80), partials: SOFT, vibrate: [60, 60, 60], again: { every: 3000, times: 3 } },
  secured: { priority: 5, notes: notes([[660, 120], [880, 120], [1320, 320]]), partials: SOFT, vibrate: [80, 80, 200] },
  missed: { priority: 5, notes: notes([[660, 160], [494, 260]]), partials: SOFT, vibrate: [200] },
  in_band: { priority: 6, notes: notes([[880, 110], [880, 110]], 60), partials: SOFT, vibrate: [40] },
  half: { priority: 6, notes: notes([[880, 120]]), partials: SOFT, chord: 1.5, vibrate: [] },
  tick: { priority: 6, notes: notes([[880, 30]]), partials: SOFT, db: -12, vibrate: [] },
};

/** How long a tone is, in ms. @param {string} name */
export function lengthOf(name) {
  const { at, ms } = TONES[name].notes[TONES[name].notes.length - 1];
  return at + ms;
}

/** Share of full scale of the loudest tone: the sum of its partials stays under 1. */
const FULL = 0.42;
const ATTACK_S = 0.01;
const DECAYS_TO = 0.04;
const FADE_S = 0.02;

/**
 * Puts a tone on an audio context's time line.
 * @param {BaseAudioContext} context
 * @param {AudioNode} out
 * @param {string} name
 * @param {number} [when] seconds of the context's time
 * @param {number} [db] louder or quieter than the table says
 * @returns {(at: number) => void} cuts it short from `at` on, faded within 20 ms
 */
export function putTone(context, out, name, when = context.currentTime, db = 0) {
  const tone = TONES[name];
  const level = FULL * 10 ** (((tone.db ?? 0) + db) / 20);
  const end = context.createGain();
  end.connect(out);
  /** @type {OscillatorNode[]} */
  const sounding = [];
  for (const note of tone.notes) {
    const from = when + note.at / 1000;
    const until = from + note.ms / 1000;
    const envelope = context.createGain();
    envelope.connect(end);
    shape(envelope.gain, from, until, level, tone.edge);
    for (const pitch of tone.chord ? [1, tone.chord] : [1]) {
      tone.partials.forEach((strength, n) => {
        const oscillator = context.createOscillator();
        const gain = context.createGain();
        gain.gain.value = strength / (tone.chord ? 2 : 1);
        oscillator.frequency.setValueAtTime(note.hz * pitch * (n + 1), from);
        if (note.to) oscillator.frequency.exponentialRampToValueAtTime(note.to * pitch * (n + 1), until);
        oscillator.connect(gain).connect(envelope);
        oscillator.start(from);
        oscillator.stop(until);
        sounding.push(oscillator);
      });
    }
  }
  return (at) => {
    end.gain.setValueAtTime(1, at);
    end.gain.linearRampToValueAtTime(0, at + FADE_S);
    for (const oscillator of sounding) oscillator.stop(at + FADE_S);
  };
}

/**
 * @param {AudioParam} gain
 * @param {number} from
 * @param {number} until
 * @param {number} level
 * @param {number} [edge] ms of a flat pulse's edges
 */
function shape(gain, from, until, level, edge) {
  const rise = edge ? edge / 1000 : ATTACK_S;
  gain.setValueAtTime(0, from);
  gain.linearRampToValueAtTime(level, from + rise);
  if (edge) {
    gain.setValueAtTime(level, until - rise);
    gain.linearRampToValueAtTime(0, until);
  } else {
    gain.exponentialRampToValueAtTime(level * DECAYS_TO, until - 0.002);
    gain.linearRampToValueAtTime(0, until);
  }
}
