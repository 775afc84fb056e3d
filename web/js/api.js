// The server's JSON API: one function a request, one error for all.

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
  /** @type {Response} */
  let response;
  try {
    response = await fetch(`api/${path}`, { cache: "no-store", ...init });
  } catch {
    throw new Refused("unreachable", "");
  }
  const json = response.headers.get("content-type")?.includes("json");
  const body = json ? await response.json().catch(() => null) : null;
  if (response.ok) return body;
  const error = body?.error ?? {};
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
 */
export function get(path, query = {}) {
  const filled = Object.entries(query).filter(([, value]) => value !== "" && value !== undefined);
  const search = new URLSearchParams(filled.map(([name, value]) => [name, String(value)])).toString();
  return ask(search ? `${path}?${search}` : path);
}

/**
 * @param {string} path
 * @param {unknown} [body] a string goes as it is, everything else as JSON
 * @param {Record<string, string>} [headers]
 */
export function post(path, body = {}, headers = {}) {
  const text = typeof body === "string";
  return ask(path, {
    method: "POST",
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
  return post(`drives/current/${action}`, body);
}

/** @param {string} part of a path */
export const seg = (part) => encodeURIComponent(part);
