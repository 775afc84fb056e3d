// A slot: a quantity of the sentence that is edited where it stands. It says which key of the recipe it is, and no more.

import { h } from "../dom.js";

/** @typedef {(string | number)[]} Path */
/** @typedef {{do: string, path?: Path, value?: unknown}} Edit */
/** @typedef {(edits: Edit[], typing?: boolean) => unknown} Change */

const TYPED_MS = 450;

/** What stands in the file, as people write it; and back. @param {unknown} value */
export const shown = (value) => String(value ?? "").replace(/deg([CF])\b/g, "°$1").replace(/\blambda$/, "λ");
/** @param {string} text */
export const written = (text) => text.trim().replace(/°\s*([CF])\b/g, "deg$1").replace(/λ$/, "lambda");

/**
 * The value as the file wants it: a number where a number stood.
 * @param {string} text
 * @param {boolean} bare the key takes bare numbers
 */
function value(text, bare) {
  const plain = written(text);
  return bare && /^-?\d+$/.test(plain) ? Number(plain) : plain;
}

/**
 * @param {object} what
 * @param {Path} what.path
 * @param {unknown} what.value
 * @param {string} what.name what it is, for those who do not see the sentence
 * @param {boolean} [what.bare] a bare whole number is a number
 * @param {boolean} [what.optional] emptied it is left out
 * @param {string} [what.hint] stands where there is nothing yet
 * @param {boolean} [what.list] several, with commas
 * @param {boolean} [what.whole] told only when it is left: the sentence gets another slot by it
 * @param {(text: string) => Edit[]} [what.edits] other edits than setting the one key
 * @param {Change} change
 */
export function slot({ path, value: now, name, bare = false, optional = false, hint = "", list = false, whole = false, edits }, change) {
  const was = Array.isArray(now) ? now.join(", ") : shown(now);
  const input = h("input", { class: `slot${was ? "" : " add"}`, value: was, placeholder: hint, "aria-label": name, "data-key": JSON.stringify(path), autocomplete: "off", spellcheck: "false", size: 1 });
  let last = was;
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  let waiting;
  fit();

  function fit() {
    const text = input.value || hint;
    input.size = Math.max(1, Math.min(60, text.length));
  }

  // What stands around a slot is drawn anew only when a slot comes or goes: whoever clicks next must hit what they see.
  function tell() {
    clearTimeout(waiting);
    const text = input.value;
    if (text === last) return;
    if (!text.trim()) {
      if (!optional || document.activeElement === input) return;
      last = text;
      if (was) change([{ do: "remove", path }], false);
      return;
    }
    last = text;
    if (edits) change(edits(written(text)), !whole);
    else change([{ do: "set", path, value: list ? text.split(",").map((one) => written(one)).filter(Boolean) : value(text, bare) }], !whole);
  }

  input.addEventListener("input", () => {
    fit();
    clearTimeout(waiting);
    if (!whole) waiting = setTimeout(tell, TYPED_MS);
  });
  input.addEventListener("blur", () => {
    if (!input.value.trim() && !optional) input.value = last;
    fit();
    tell();
  });
  input.addEventListener("keydown", (event) => {
    if (event.key === "Enter") input.blur();
    else if (event.key === "Escape") {
      input.value = was;
      input.blur();
    }
  });
  return input;
}

/**
 * A slot with a few choices; choosing makes edits.
 * @param {object} what
 * @param {string} what.name
 * @param {[string, string][]} what.choices value and words
 * @param {string} [what.value] the chosen one; without it the first line is a hint
 * @param {string} [what.hint]
 * @param {string} [what.classes]
 * @param {string} [what.key] to find it again after it was drawn anew
 * @param {(chosen: string) => Edit[]} what.edits
 * @param {Change} change
 */
export function pick({ name, choices, value: now = "", hint = "", classes = "", key = "", edits }, change) {
  const list = h("select", { class: `slot ${classes}`.trim(), "aria-label": name, "data-key": key || name },
    ...(hint ? [h("option", { value: "", selected: !now }, hint)] : []), ...choices.map(([id, text]) => h("option", { value: id, selected: id === now }, text)));
  list.addEventListener("change", () => list.value && change(edits(list.value), false));
  return list;
}
