// Hands a drive on from this phone, with or without the laptop: to another app where the browser can, else as a file.

import { seg } from "./api.js";
import { Reader } from "./kept.js";
import { zip } from "./zip.js";

/**
 * Whether this browser hands files on to other apps; a page over plain http cannot.
 * @param {File[]} [files]
 */
export function canShare(files = [new File([""], "a.csv", { type: "text/csv" })]) {
  try {
    return Boolean(navigator.canShare?.({ files }));
  } catch {
    return false;
  }
}

/**
 * The files of a drive: in words, as JSON, and the table of each secured window that is kept.
 * @param {string} id
 * @param {import("./types.js").Verdict} verdict
 * @param {string} text the verdict in words
 */
export async function filesOf(id, verdict, text) {
  const reader = new Reader();
  const files = [
    new File([text], "verdict.txt", { type: "text/plain" }),
    new File([JSON.stringify(verdict, null, 1)], "verdict.json", { type: "application/json" }),
  ];
  for (const { id: capture, attempts } of verdict.captures) {
    for (const { number, secured_s: secured } of attempts) {
      if (secured === null) continue;
      const table = await reader.file(`drives/${seg(id)}/windows/${seg(capture)}/${number}.csv`).catch(() => null);
      if (table) files.push(tableFile(table, capture, number));
    }
  }
  return files;
}

/**
 * @param {Blob} table
 * @param {string} capture
 * @param {number} number
 */
export function tableFile(table, capture, number) {
  return new File([table], `${capture}-${number + 1}.csv`, { type: "text/csv" });
}

/**
 * Hands files on; where that cannot be, saves them: one as it is, several as a zip of that name.
 * @param {File[]} files
 * @param {string} name
 * @returns {Promise<"shared" | "saved" | "left">} left: the person thought better of it
 */
export async function hand(files, name) {
  // Browsers hand on text and tables, but no JSON: it says the same as the text.
  const fit = files.filter(({ type }) => type !== "application/json");
  if (canShare(fit)) {
    try {
      await navigator.share({ files: fit, title: name });
      return "shared";
    } catch (error) {
      if (error instanceof DOMException && error.name === "AbortError") return "left";
    }
  }
  if (files.length === 1) save(files[0], files[0].name);
  else save(await zip(files), `${name}.zip`);
  return "saved";
}

/**
 * @param {Blob} blob
 * @param {string} name
 */
function save(blob, name) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}
