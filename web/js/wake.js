// Keeps the screen on during a drive; asked for again whenever the page is seen again, because a phone takes it away.

/** @type {WakeLockSentinel | null} */
let held = null;
let wanted = false;

async function ask() {
  if (!wanted || document.hidden || (held && !held.released)) return;
  // Without it (no https, an old phone) the screen may go dark: recording does not depend on it.
  held = (await navigator.wakeLock?.request("screen").catch(() => null)) ?? null;
}

/** Whether this browser can keep the screen on at all. */
export const canStayOn = () => "wakeLock" in navigator;

/** From now on, until `letSleep`. */
export function stayOn() {
  if (!wanted) for (const event of ["visibilitychange", "pageshow"]) (event === "pageshow" ? globalThis : document).addEventListener(event, ask);
  wanted = true;
  return ask();
}

/** The phone may sleep again. */
export function letSleep() {
  wanted = false;
  held?.release().catch(() => undefined);
  held = null;
}
