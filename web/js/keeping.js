// What a person decides about what is kept on this phone: a drive is taken off it, or kept after all. The bundle that
// the laptop made for the calibrator stays here as long as its drive does.

import { forget, keepDrive, keptDrives, leaveOut, look, within } from "./kept.js";

/** Room that must be left over for drives after a bundle was put down, as a multiple of its size. */
const SPARE = 2;

/** @param {string} drive */
const placeOf = (drive) => `drives/${drive}/bundle.zip`;

/** Whether a drive is kept here. @param {string} id */
export async function isKept(id) {
  return Boolean(await look((_, drives) => drives.get(id)));
}

/** Takes a drive off this phone; it is not kept again by itself. @param {string} id */
export async function remove(id) {
  leaveOut(id, true);
  return forget(id);
}

/** Keeps a drive after all. @param {string} id */
export async function keepAgain(id) {
  leaveOut(id, false);
  return keepDrive(id);
}

/**
 * Keeps the bundle beside its drive, in place of the one before; no other drive makes way for it.
 * @param {string} drive
 * @param {File} file
 */
export async function keepBundle(drive, file) {
  try {
    const { quota = Infinity, usage = 0 } = (await navigator.storage?.estimate?.()) ?? {};
    if (usage + SPARE * file.size > quota || !(await isKept(drive))) return false;
    const body = { type: file.type, name: file.name, bytes: await file.arrayBuffer() };
    await within("readwrite", (answers) => void answers.put({ path: placeOf(drive), drive, at: Date.now(), body }));
    return true;
  } catch {
    return false; // there is no room: the laptop has it
  }
}

/** The bundle of a drive as the laptop made it last, with when it came; null where none is kept. @param {string} drive */
export async function keptBundle(drive) {
  const found = /** @type {import("./kept.js").Kept | undefined} */ (await look((answers) => answers.get(placeOf(drive))));
  return found ? { at: found.at, file: new File([found.body.bytes], found.body.name, { type: found.body.type }) } : null;
}

/** Whether the browser may throw away what is kept: it was asked not to, and did not agree. */
export async function mayGo() {
  if (!(await keptDrives()).length) return false;
  return !(await navigator.storage?.persisted?.().catch(() => false));
}

/** Asks that the browser does not throw the kept drives away when room runs short; says whether it agreed. */
export async function persist() {
  const storage = navigator.storage;
  try {
    return (await storage?.persisted?.()) || (await storage?.persist?.()) || false;
  } catch {
    return false;
  }
}
