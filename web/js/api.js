// The server's JSON API: one function a request, one error for all.

import { unitsHeader } from "./units.js";

/** A phone that has left the network may wait for minutes; whoever presses Stop wants to know now. */
const ACT_MS = 6000;

/** What the server refused, in its own sentence. */
export class Refused extends Error {
  /**
   * @param {string} code
   * @param {string} message
   * @param {string} [where]
   * @param {string[]} [all] every finding, where there are several
   */
  constructor(code, message, where = "", all = []) {
    super(message);
    this.code = code;
    this.where = where;
    this.all = all;
  }
}

/**
 * @param {string} path below /api/
 * @param {RequestInit} [init]
 * @returns {Promise<any>} the JSON of the answer
 */
async function ask(path, init) {
  const headers = { ...unitsHeader(), "accept-language": document.documentElement.lang, .../** @type {Record<string, string>} */ (init?.headers) };
  return read(await reach(`api/${path}`, { cache: "no-store", ...init, headers }));
}

/**
 * @param {string} url
 * @param {RequestInit} [init]
 */
export async function reach(url, init) {
  try {
    return await fetch(url, init);
  } catch {
    throw new Refused("unreachable", "");
  }
}

/** A JSON file of the page itself, which is kept with it. @param {string} path */
export async function getFile(path) {
  return read(await reach(path));
}

/** The JSON of an answer, or what was refused. @param {Response} response */
export async function read(response) {
  const json = response.headers.get("content-type")?.includes("json");
  const body = json ? await response.json().catch(() => null) : null;
  if (response.ok) return body;
  const error = body?.error ?? {};
  // This device is joined no more: the one thing to do now is on the help page.
  if (error.code === "not_joined") location.assign("/join");
  const all = Array.isArray(error.errors) ? error.errors.map((/** @type {any} */ one) => String(one.message ?? one)) : [];
  throw new Refused(error.code ?? String(response.status), error.message ?? "", where(error.where), all);
}

/** @param {unknown} value */
function where(value) {
  if (value === null || value === undefined) return "";
  if (typeof value === "object") return Object.values(value).filter((part) => part !== null).join(", ");
  return String(value);
}

/**
 * @param {string} path
 * @param {Record<string, string | number>} [query] empty values are left out
 * @param {AbortSignal} [signal]
 */
export function get(path, query = {}, signal = undefined) {
  return ask(pathOf(path, query), { signal });
}

/**
 * @param {string} path
 * @param {Record<string, string | number>} query
 */
export function pathOf(path, query) {
  const filled = Object.entries(query).filter(([, value]) => value !== "" && value !== undefined);
  const search = new URLSearchParams(filled.map(([name, value]) => [name, String(value)])).toString();
  return search ? `${path}?${search}` : path;
}

/**
 * @param {string} path
 * @param {unknown} [body] a string goes as it is, everything else as JSON
 * @param {Record<string, string>} [headers]
 * @param {AbortSignal} [signal]
 */
export function post(path, body = {}, headers = {}, signal = undefined) {
  const text = typeof body === "string";
  return ask(path, {
    method: "POST",
    signal,
    headers: { "content-type": text ? "application/toml" : "application/json", ...headers },
    body: text ? body : JSON.stringify(body),
  });
}

/**
 * What is done to the drive that runs: stop, carry-on, finish, arm, skip, pause, resume, role, seen.
 * @param {string} action
 * @param {Record<string, unknown>} [body]
 */
export function act(action, body = {}) {
  return post(`drives/current/${action}`, body, {}, AbortSignal.timeout(ACT_MS));
}

/** @param {string} part of a path */
export const seg = (part) => encodeURIComponent(part);
