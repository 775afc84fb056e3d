// A capture as a sentence with slots: what is asked, with every figure editable where it stands.

import { h } from "../dom.js";
import { t } from "../words.js";
import { leftOut } from "./cells.js";
import { pick, slot } from "./slots.js";

/** @typedef {import("./slots.js").Path} Path */
/** @typedef {import("./slots.js").Change} Change */
/** @typedef {{name: string, title: string, unit: string, discrete: boolean, low: number, high: number, derived: boolean}} Signal */

/** What a new condition begins with, by unit: a figure to be changed, and on which side. @type {Record<string, [string, string]>} */
const BEGIN = {
  rpm: ["min", "1500 rpm"], "km/h": ["max", "100 km/h"], degC: ["min", "80 degC"], kPa: ["max", "150 kPa"], "%": ["min", "20 %"], V: ["min", "13 V"], lambda: ["max", "1.05 lambda"],
};
/** What a new limit begins with. @type {Record<string, string>} */
const LIMITS = { coolant_temp: "108 degC", oil_temp: "130 degC", gauge_boost: "95 kPa", engine_speed: "6000 rpm", intake_temp: "70 degC" };
/** How long a limit is left out at first, and how long it may be beyond, to begin with: long enough for a single sample. */
const LIMIT_TIMES = { after: "1 s", for: "0.5 s" };
const RATE = "2 Hz";

/** @param {Signal | undefined} signal @param {string} name */
const called = (signal, name) => (signal ? lower(signal.title) : name);

/** A name inside a sentence: the first letter small unless it is an abbreviation. @param {string} title */
const lower = (title) => (/^[A-Z][a-z]/.test(title) ? title.charAt(0).toLowerCase() + title.slice(1) : title);

/** @param {unknown} value */
const plain = (value) => typeof value !== "object" || value === null;

export class Sentence {
  /**
   * @param {Record<string, any>} data the recipe's own tables
   * @param {number} place which capture
   * @param {Signal[]} signals
   * @param {Change} change
   */
  constructor(data, place, signals, change) {
    this.data = data;
    this.place = place;
    this.capture = data.capture[place];
    this.signals = new Map(signals.map((one) => [one.name, one]));
    this.change = change;
    this.container = h("div", { class: "sentence" }, ...this.lines().filter((line) => line.length).map((line) => h("p", {}, ...spaced(line))));
    const { cells } = this.capture;
    const grid = cells && leftOut(this.at("cells"), cells, (name) => called(this.signals.get(name), name), change);
    if (grid) this.container.querySelector(".edges")?.closest("p")?.after(grid);
  }

  /** @param {...(string | number)} rest @returns {Path} */
  at(...rest) {
    return ["capture", this.place, ...rest];
  }

  /** @param {string} key @param {string} name @param {Partial<Parameters<typeof slot>[0]>} [more] */
  key(key, name, more = {}) {
    return slot({ path: this.at(key), value: this.capture[key], name, ...more }, this.change);
  }

  lines() {
    return [this.what(), ...this.conditions("keep"), ...this.cells(), ...this.conditions("start"), ...this.limits(), this.often(), this.also(), this.adds()];
  }

  /** Where, and what: a hold, pieces, or a sweep. */
  what() {
    const { hold, collect, sweep, place = "road", then } = this.capture;
    const where = pick({ name: t("write.place"), key: `${this.place} place`, value: place, choices: ["road", "closed course", "parked"].map((one) => [one, t(`write.place_text.${one}`)]),
      edits: (chosen) => [{ do: "set", path: this.at("place"), value: chosen }] }, this.change);
    const line = /** @type {(string | Node)[]} */ ([h("span", { class: "together" }, where, ",")]);
    if (hold !== undefined) line.push(t("write.hold"), this.key("hold", t("write.hold")));
    if (collect !== undefined) line.push(t("write.collect"), this.key("collect", t("write.collect")), t("write.pieces"), this.key("piece", t("write.pieces"), { optional: true, hint: "3 s" }));
    for (const [name, ends] of Object.entries(sweep ?? {})) {
      const signal = called(this.signals.get(name), name);
      const end = (/** @type {string} */ key, /** @type {string} */ word, optional = true, hint = "") => [word, slot({ path: this.at("sweep", name, key), value: ends[key], name: `${signal}, ${word}`, optional, hint }, this.change)];
      line.push(t("write.sweep"), signal, ...end("from", t("write.from"), false), ...end("to", t("write.to"), false), ...end("within", t("write.within"), true, "…"));
      if (ends.dip !== undefined) line.push(",", ...end("dip", t("write.dip")));
      if (then !== undefined) line.push(",", t("write.then"), this.key("then", t("write.then"), { optional: true }), t("write.then_more"));
    }
    return line;
  }

  /** One line a condition. @param {"keep" | "start"} part */
  conditions(part) {
    return Object.entries(this.capture[part] ?? {}).map(([name, band], n) => {
      const signal = called(this.signals.get(name), name);
      const lead = n ? t("write.and") : t(part === "keep" ? "write.with" : "write.begin_with");
      return [lead, signal, ...together([...this.band(part, name, band), this.more(part, name, band)])];
    });
  }

  /** @param {string} part @param {string} name @param {any} band @returns {(string | Node)[]} */
  band(part, name, band) {
    const signal = this.signals.get(name);
    const label = (/** @type {string} */ word) => `${called(signal, name)}, ${word}`;
    const bare = !signal?.unit || signal.discrete;
    if (plain(band)) return [slot({ path: this.at(part, name), value: band, name: label(t("write.exactly")), bare }, this.change)];
    if (Array.isArray(band)) return [slot({ path: this.at(part, name), value: band, name: label(t("write.exactly")), list: true }, this.change)];
    const one = (/** @type {string} */ key, /** @type {string} */ word) => slot({ path: this.at(part, name, key), value: band[key], name: label(word), bare }, this.change);
    const { min, max, wander } = band;
    const made = [];
    if (min !== undefined && max !== undefined) made.push(t("write.from"), one("min", t("write.from")), t("write.to"), one("max", t("write.to")));
    else if (min !== undefined) made.push(t("write.least"), one("min", t("write.least")));
    else if (max !== undefined) made.push(t("write.most"), one("max", t("write.most")));
    if (wander !== undefined) made.push(...(made.length ? [","] : []), t("write.wander"), one("wander", t("write.wander")));
    return made;
  }

  /** What else can be done with a condition. @param {string} part @param {string} name @param {any} band */
  more(part, name, band) {
    const signal = this.signals.get(name);
    const path = this.at(part, name);
    const table = !plain(band) && !Array.isArray(band);
    /** @type {[string, string][]} */
    const choices = [];
    for (const key of table ? ["min", "max", "wander"] : ["min", "max"]) if (!table || band[key] === undefined) choices.push([key, t(`write.add_${key}`)]);
    choices.push(["remove", t("write.no_more")]);
    return pick({ name: t("write.change", { name: called(signal, name) }), classes: "dots", hint: "⋯", choices, edits: (chosen) => {
      if (chosen === "remove") return [this.without(part, name)];
      const from = table ? Object.values(band)[0] : band;
      const set = { do: "set", path: [...path, chosen], value: chosen === "wander" ? (signal?.unit === "rpm" ? "150 rpm" : from) : from };
      return table ? [set] : [{ do: "remove", path }, set];
    } }, this.change);
  }

  /** Takes a condition out, and its table with the last of them. @param {string} part @param {string} name */
  without(part, name) {
    return { do: "remove", path: Object.keys(this.capture[part]).length === 1 ? this.at(part) : this.at(part, name) };
  }

  limits() {
    return Object.entries(this.capture.limit ?? {}).map(([name, limit]) => {
      const signal = called(this.signals.get(name), name);
      const side = limit.max !== undefined ? "max" : "min";
      const through = limit.scope === "drive";
      const never = `${signal}, ${t("write.never")}`;
      const time = (/** @type {"after" | "for"} */ key) => (limit[key] === undefined ? [] : [t(`write.limit_${key}`), slot({ path: this.at("limit", name, key), value: limit[key], name: `${never}, ${t(`write.limit_${key}`)}`, optional: true }, this.change)]);
      const more = /** @type {[string, string][]} */ ([...(["after", "for"].filter((key) => limit[key] === undefined).map((key) => [key, t(`write.add_${key}`)])), through ? ["attempt", t("write.drop_scope")] : ["drive", t("write.add_scope")], ["remove", t("write.no_more")]]);
      return [t("write.never"), signal, t(side === "max" ? "write.over" : "write.under"), slot({ path: this.at("limit", name, side), value: limit[side], name: never }, this.change),
        ...time("after"), ...time("for"), ...(through ? [",", t("write.through")] : []),
        pick({ name: t("write.change", { name: never }), classes: "dots", hint: "⋯", choices: more, edits: (chosen) => {
          if (chosen === "remove") return [this.without("limit", name)];
          if (chosen === "after" || chosen === "for") return [{ do: "set", path: this.at("limit", name, chosen), value: LIMIT_TIMES[chosen] }];
          return [{ do: "set", path: this.at("limit", name, "scope"), value: chosen }];
        } }, this.change)];
    });
  }

  /** Cells as a small table: the edges of each signal, and how long each cell wants. @returns {(string | Node)[][]} */
  cells() {
    const { cells } = this.capture;
    if (!cells) return [];
    const rows = Object.entries(cells.edges ?? {}).map(([name, edges]) => {
      const signal = called(this.signals.get(name), name);
      return h("tr", {}, h("th", { scope: "row" }, signal), h("td", {}, slot({ path: this.at("cells", "edges", name), value: edges, list: true, name: `${t("write.cell_edges")} ${t("write.of", { name: signal })}` }, this.change)));
    });
    return [[t("write.cells"), h("table", { class: "edges" }, h("tbody", {}, ...rows)), t("write.for_each"), slot({ path: this.at("cells", "dwell"), value: cells.dwell, name: t("write.field.dwell") }, this.change), t("write.each")]];
  }

  /** How often, how long apart, and what is forgiven. */
  often() {
    const { times = 1, rest, grace } = this.capture;
    const line = [];
    if (times > 1) line.push(this.key("times", t("write.field.times"), { bare: true }), t("write.times"), ...(rest !== undefined ? [",", t("write.rest"), this.key("rest", t("write.field.rest"), { optional: true }), t("write.between")] : []), ".");
    if (grace !== undefined) line.push(t("write.forgive"), this.key("grace", t("write.field.grace"), { optional: true }), t("write.outside"));
    return line;
  }

  also() {
    const { needs = [], confirm = [], ask } = this.capture;
    const line = [];
    if (needs.length) line.push(t("write.first"), this.key("needs", t("write.field.needs"), { list: true, optional: true }), ".");
    confirm.forEach((/** @type {string} */ item, /** @type {number} */ n) => {
      line.push(...(n ? [] : [t("write.confirm")]), slot({ path: this.at("confirm", n), value: item, name: `${t("write.confirm")} ${n + 1}`, optional: true,
        edits: (text) => [{ do: "set", path: this.at("confirm", n), value: text }] }, this.listed("confirm", confirm, n)), n < confirm.length - 1 ? "," : ".");
    });
    line.push(t("write.tell"), this.key("ask", t("write.tell"), { optional: true, hint: t("write.own_words") }));
    return ask === undefined && line.length === 0 ? [] : line;
  }

  /**
   * Emptying one of a list takes it out of the list, and the list with its last one.
   * @param {string} key @param {string[]} items @param {number} n @returns {Change}
   */
  listed(key, items, n) {
    return (edits, typing) => this.change(edits.map((edit) => {
      if (edit.do !== "remove") return edit;
      const rest = items.filter((_, m) => m !== n);
      return rest.length ? { do: "set", path: this.at(key), value: rest } : { do: "remove", path: this.at(key) };
    }), typing);
  }

  /** What can be added: conditions, beginnings, limits, states to confirm. */
  adds() {
    const free = (/** @type {string} */ part) => [...this.signals.values()].filter(({ name }) => !(name in (this.capture[part] ?? {}))).map(({ name, title }) => /** @type {[string, string]} */ ([name, title])).sort((a, b) => a[1].localeCompare(b[1]));
    const recorded = (/** @type {string} */ name) => (this.signals.get(name)?.derived || name in (this.capture.record ?? this.data.record ?? {}) ? [] : [{ do: "set", path: this.capture.record ? this.at("record", name) : ["record", name], value: RATE }]);
    const band = (/** @type {string} */ part) => (/** @type {string} */ name) => {
      const signal = this.signals.get(name);
      const [side, value] = (signal && BEGIN[signal.unit]) ?? ["min", signal ? (signal.unit ? `${signal.low} ${signal.unit}` : signal.low) : 0];
      if (name === "gear") return [{ do: "set", path: this.at(part, name), value: 3 }];
      return [...recorded(name), { do: "set", path: this.at(part, name, side), value }];
    };
    const limit = (/** @type {string} */ name) => {
      const signal = this.signals.get(name);
      return [...recorded(name), { do: "set", path: this.at("limit", name, "max"), value: LIMITS[name] ?? `${signal?.high ?? 0} ${signal?.unit ?? ""}`.trim() }];
    };
    const add = (/** @type {string} */ key, /** @type {string} */ part, /** @type {(name: string) => any[]} */ edits) =>
      pick({ name: t(key), key: `${this.place} ${key}`, classes: "add", hint: t(key), choices: free(part), edits }, this.change);
    const confirm = this.capture.confirm ?? [];
    const item = slot({ path: this.at("confirm", "new"), value: "", name: t("write.new_item"), hint: t("write.add_confirm"), optional: true, whole: true, edits: (text) => [{ do: "set", path: this.at("confirm"), value: [...confirm, text] }] }, this.change);
    return [add("write.add_keep", "keep", band("keep")), add("write.add_start", "start", band("start")), add("write.add_limit", "limit", limit), item];
  }
}

/** The last slot and what follows it never stand on two lines. @param {(string | Node)[]} parts */
function together(parts) {
  return [...parts.slice(0, -2), h("span", { class: "together" }, ...parts.slice(-2))];
}

/** Words and slots with a space between, and none before a mark of punctuation. @param {(string | Node)[]} parts */
export function spaced(parts) {
  return parts.flatMap((part, n) => {
    const tight = n === 0 || (typeof part === "string" && /^[,.]/.test(part));
    return tight ? [part] : [" ", part];
  });
}
