// What this phone keeps of drives, so that they can be looked at with the laptop gone: the server's own answers, by
// their addresses. Screens read through a Reader: the server where it answers, else what was kept. No screen opens the
// database itself, and what fails here never stands in the way of a drive.

import { get, pathOf, reach, Refused, seg } from "./api.js";
import { known } from "./store.js";

const DATABASE = "coach";
const MOST_DRIVES = 20;
/** Attempts kept of one capture, newest first; a recipe that is tried all day is not kept whole. */
const MOST_ATTEMPTS = 20;
const LEFT_OUT = "leftOut";
/** How a drive's traces are asked for to be kept: every signal, peaks and all, as finely as a phone draws them. */
export const TRACES = { points: 600 };
const MOST_LEFT_OUT = 100;
/** How long to wait for the server before what is kept is shown, ms: when it is lost already, and else. */
const WAIT_MS = { lost: 2000, there: 20_000 };

/**
 * @typedef {object} Kept
 * @property {string} path
 * @property {string} drive its id; empty for what belongs to none
 * @property {number} at when it came, ms since the epoch
 * @property {any} body JSON, or {type, bytes} of a file
 *
 * @typedef {object} KeptDrive
 * @property {string} id
 * @property {number} at
 * @property {boolean} whole whether everything of an ended drive is here
 * @property {any} row the drive as the server lists it
 */

/** Why nothing can be kept: "shut" (no storage for this page), "full", or "" while all is well. */
export let trouble = "";

/** @type {Promise<IDBDatabase> | null} */
let opening = null;

function database() {
  opening ??= new Promise((done, failed) => {
    const asked = indexedDB.open(DATABASE, 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("answers", { keyPath: "path" }).createIndex("drive", "drive");
      asked.result.createObjectStore("drives", { keyPath: "id" });
    };
    asked.onsuccess = () => {
      // Another version of the page may want to change the form; the browser may throw everything away.
      asked.result.onversionchange = () => asked.result.close();
      asked.result.onclose = () => void (opening = null);
      done(asked.result);
    };
    asked.onerror = () => failed(asked.error);
    asked.onblocked = () => failed(new DOMException("blocked", "InvalidStateError"));
  });
  opening.catch(() => (opening = null));
  return opening;
}

/**
 * One transaction over both stores.
 * @template T
 * @param {IDBTransactionMode} mode
 * @param {(answers: IDBObjectStore, drives: IDBObjectStore) => IDBRequest<T> | void} work
 * @returns {Promise<T | undefined>}
 */
export async function within(mode, work) {
  const base = await database();
  return new Promise((done, failed) => {
    const transaction = base.transaction(["answers", "drives"], mode);
    const asked = work(transaction.objectStore("answers"), transaction.objectStore("drives"));
    transaction.oncomplete = () => done(asked ? asked.result : undefined);
    transaction.onabort = transaction.onerror = () => failed(transaction.error ?? new DOMException("aborted", "AbortError"));
  });
}

/**
 * Reads, and gives nothing where there is no storage.
 * @template T
 * @param {(answers: IDBObjectStore, drives: IDBObjectStore) => IDBRequest<T>} work
 */
export async function look(work) {
  try {
    return await within("readonly", work);
  } catch {
    trouble ||= "shut";
    return undefined;
  }
}

/**
 * Writes; where there is no room the oldest drive makes way for this one. Says whether it was written.
 * @param {string} drive the one that must not make way
 * @param {(answers: IDBObjectStore, drives: IDBObjectStore) => void} work
 */
async function write(drive, work) {
  for (;;) {
    try {
      await within("readwrite", work);
      trouble = "";
      return true;
    } catch (error) {
      const full = error instanceof DOMException && error.name === "QuotaExceededError";
      trouble = full ? "full" : "shut";
      const oldest = full ? (await keptDrives()).filter(({ id }) => id !== drive).at(-1) : undefined;
      if (!oldest || !(await forget(oldest.id))) return false;
    }
  }
}

/** The drives kept here, newest first. @returns {Promise<KeptDrive[]>} */
export async function keptDrives() {
  const all = (await look((_, drives) => drives.getAll())) ?? [];
  return all.sort((a, b) => String(b.row.started_at).localeCompare(String(a.row.started_at)));
}

/** Takes a drive off this phone. @param {string} id */
export async function forget(id) {
  try {
    await within("readwrite", (answers, drives) => {
      drives.delete(id);
      answers.index("drive").getAllKeys(id).onsuccess = ({ target }) => {
        for (const key of /** @type {IDBRequest<IDBValidKey[]>} */ (target).result) answers.delete(key);
      };
    });
    return true;
  } catch {
    return false;
  }
}

/** Drives that a person took off this phone: they are not kept again by themselves. @returns {string[]} */
function leftOut() {
  try {
    return JSON.parse(localStorage.getItem(LEFT_OUT) ?? "[]");
  } catch {
    return [];
  }
}

/** Remembers that a drive is not to be kept, or is after all. @param {string} id @param {boolean} out */
export function leaveOut(id, out) {
  const others = leftOut().filter((one) => one !== id);
  try {
    localStorage.setItem(LEFT_OUT, JSON.stringify((out ? [...others, id] : others).slice(-MOST_LEFT_OUT)));
  } catch {
    // Storage is shut or full: it is kept again when it is seen again.
  }
}

/**
 * @param {string} path
 * @param {any} body
 */
async function keep(path, body) {
  const drive = /^drives\/([^/?]+)/.exec(path)?.[1] ?? "";
  if (drive && leftOut().includes(drive)) return false;
  return write(drive, (answers) => void answers.put({ path, drive, at: Date.now(), body }));
}

/** Reads for one screen, and knows whether any of it came from this phone. */
export class Reader {
  constructor() {
    /** When the oldest part that came from this phone was kept, ms since the epoch; null while all came from the server. */
    this.at = /** @type {number | null} */ (null);
  }

  /**
   * The JSON at `path` below /api/.
   * @param {string} path
   * @param {Record<string, string | number>} [query]
   * @returns {Promise<any>}
   * @throws {Refused} the server's refusal, or `unreachable` where nothing was kept either
   */
  get(path, query = {}) {
    return this.#either(pathOf(path, query), (signal) => get(path, query, signal));
  }

  /**
   * A file at `path` below /api/, as a table.
   * @param {string} path
   * @returns {Promise<Blob>}
   */
  async file(path) {
    const { type, bytes } = await this.#either(path, (signal) => fetchFile(path, signal));
    return new Blob([bytes], { type });
  }

  /**
   * @param {string} key
   * @param {(signal: AbortSignal) => Promise<any>} ask
   */
  async #either(key, ask) {
    try {
      const body = await ask(AbortSignal.timeout(known.phone.lost ? WAIT_MS.lost : WAIT_MS.there));
      keep(key, body);
      return body;
    } catch (error) {
      if (!(error instanceof Refused) || error.code !== "unreachable") throw error;
      const found = /** @type {Kept | undefined} */ (await look((answers) => answers.get(key)));
      if (!found) throw error;
      this.at = Math.min(this.at ?? Infinity, found.at);
      return found.body;
    }
  }
}

/**
 * @param {string} path
 * @param {AbortSignal} [signal]
 */
async function fetchFile(path, signal) {
  const response = await reach(`api/${path}`, { cache: "no-store", signal });
  if (!response.ok) throw new Refused(String(response.status), "");
  const type = response.headers.get("content-type") ?? "";
  try {
    return { type, bytes: await response.arrayBuffer() };
  } catch {
    throw new Refused("unreachable", "");
  }
}

/** Every drive: the server's list, else what is kept here. @param {Reader} reader */
export async function listDrives(reader) {
  try {
    return (await get("drives", {}, AbortSignal.timeout(known.phone.lost ? WAIT_MS.lost : WAIT_MS.there))).drives;
  } catch (error) {
    if (!(error instanceof Refused) || error.code !== "unreachable") throw error;
    const all = await keptDrives();
    if (!all.length) throw error;
    reader.at = Math.min(...all.map(({ at }) => at));
    return all.map(({ row }) => row);
  }
}

/**
 * Keeps all of a drive that a review needs: verdict, recipe, each attempt's thread and signals, the tables of secured
 * windows. What is here already is not asked for again once the drive has ended.
 * @param {string} id
 */
export async function keepDrive(id) {
  const before = /** @type {KeptDrive | undefined} */ (await look((_, drives) => drives.get(id)));
  const path = `drives/${seg(id)}`;
  const have = new Set(await look((answers) => answers.index("drive").getAllKeys(id)));
  if (before?.whole && have.has(`${path}/review`)) return true;
  if (leftOut().includes(id)) return false;
  const row = await get(path);
  const verdict = await get(`${path}/attempts`);
  const recipe = `recipes/${seg(verdict.recipe.sha256)}`;
  let good = (await keep(path, row)) && (await keep(`${path}/attempts`, verdict));
  if (!good) return false;
  await write(id, (_, drives) => void drives.put({ id, at: Date.now(), whole: false, row }));
  await keep(recipe, await get(recipe));
  for (const part of parts(verdict, path, row.phase === "ended")) {
    if (have.has(part.key) && !part.last) continue;
    const body = await part.ask();
    good = (body === null || (await keep(part.key, body))) && good;
    if (!good) return false;
  }
  await write(id, (_, drives) => void drives.put({ id, at: Date.now(), whole: row.phase === "ended", row }));
  for (const { id: old } of (await keptDrives()).slice(MOST_DRIVES)) await forget(old);
  return true;
}

/**
 * What is kept of each attempt that is over, the secured ones first: a phone may lose the laptop at any moment. Of a
 * drive that has ended also the review, in sentences, and the traces from end to end: `last`, and no earlier ones.
 * @param {import("./types.js").Verdict} verdict
 * @param {string} path
 * @param {boolean} ended
 */
function parts(verdict, path, ended) {
  const attempts = verdict.captures.flatMap(({ id, attempts: all }) => {
    const tries = all.filter(({ small, outcome }) => !small || outcome === "secured").slice(-MOST_ATTEMPTS);
    return tries.map((attempt) => ({ id, attempt }));
  });
  attempts.sort((a, b) => Number(b.attempt.outcome === "secured") - Number(a.attempt.outcome === "secured"));
  const whole = ended ? /** @type {[string, Record<string, number>][]} */ ([[`${path}/review`, {}], [`${path}/traces`, TRACES]]).map(([to, query]) => ({ key: pathOf(to, query), ask: () => get(to, query).catch(unless), last: true })) : [];
  const each = attempts.flatMap(({ id, attempt: { number, outcome } }) => {
    const lane = { capture: id, number };
    const window = `${path}/windows/${seg(id)}/${number}`;
    const one = /** @type {{key: string, ask: () => Promise<any>, last?: boolean}[]} */ ([
      { key: pathOf(`${path}/lane`, lane), ask: () => get(`${path}/lane`, lane) },
      { key: window, ask: () => get(window) },
    ]);
    if (outcome === "secured") one.push({ key: `${window}.csv`, ask: () => fetchFile(`${window}.csv`) });
    return one;
  });
  return [...each, ...whole];
}

/** A review that the server cannot make spoils nothing else of the drive. @param {unknown} error */
function unless(error) {
  if (!(error instanceof Refused) || error.code === "unreachable") throw error;
  return null;
}
