// The help page's only script: shows the secret from behind the # to the laptop, once, and says what came of it. It
// stands by itself, because a stranger is given nothing else of the page; its words stand in the page's own markup.

const page = /** @type {HTMLElement} */ (document.querySelector(".joining"));
const on = document.getElementById("on");
/** How often the laptop is asked before we say that it does not answer. */
const TRIES = 3;
const AGAIN_MS = 700;

/**
 * @param {string} path
 * @param {RequestInit} [init]
 */
async function ask(path, init) {
  for (let left = TRIES; ; left--) {
    try {
      return await fetch(path, { cache: "no-store", ...init });
    } catch (error) {
      if (left <= 1) throw error;
      await new Promise((done) => setTimeout(done, AGAIN_MS));
    }
  }
}

/** Step one is done: on from here. @param {string} role */
function joined(role) {
  say("where", (role === "onlooker" ? page.dataset.watching : page.dataset.joined) ?? "");
  const heading = page.querySelector("h1");
  if (heading) heading.textContent = page.dataset.title ?? "";
  const tick = page.querySelector(".tick");
  if (tick instanceof HTMLElement) tick.hidden = false;
  on?.setAttribute("href", on.dataset.href ?? "/");
  on?.removeAttribute("aria-disabled");
  page.dataset.role = role;
}

/** @param {string} id @param {string} text */
function say(id, text) {
  const element = document.getElementById(id);
  if (element) element.textContent = text;
}

/** @param {string} [why] the server's own sentence */
function refused(why) {
  const box = document.getElementById("refused");
  if (!box) return;
  const [first, second] = [document.createElement("p"), document.createElement("p")];
  first.textContent = (why === undefined ? page.dataset.unreachable : page.dataset.refused) ?? "";
  second.textContent = why ? why.charAt(0).toUpperCase() + why.slice(1) : "";
  box.className = "problem";
  box.setAttribute("role", "alert");
  const text = document.createElement("div");
  text.append(first, ...(why ? [second] : []));
  box.replaceChildren(text);
}

async function begin() {
  const secret = new URLSearchParams(location.hash.slice(1)).get("s");
  // Out of the address and the history at once: what works once should not lie about.
  if (location.hash) history.replaceState(null, "", location.pathname + location.search);
  if (secret) {
    const body = JSON.stringify({ secret });
    const answer = await ask("/api/pair", { method: "POST", body, headers: { "content-type": "application/json" } });
    const told = await answer.json().catch(() => ({}));
    if (answer.ok) return joined(told.role);
    if (!(await already())) refused(told.error?.message ?? "");
    return;
  }
  if ((await already()) && new URLSearchParams(location.search).has("on")) location.replace(on?.dataset.href ?? "/");
}

/** Whether this device is joined from before: a square scanned twice is no trouble then. */
async function already() {
  const answer = await ask("/api/me");
  if (!answer.ok) return false;
  joined((await answer.json()).role);
  return true;
}

// A square scanned while this page is open changes only what is behind the #.
addEventListener("hashchange", () => void begin().catch(() => refused()));
if (page) begin().catch(() => refused());
