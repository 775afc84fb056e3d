// A zip of a few files, stored and not packed: for phones that cannot hand several files on at once. Format: PKWARE
// APPNOTE 6.3, sections 4.3.7 (local header), 4.3.12 (central directory), 4.3.16 (its end).

const TABLE = Uint32Array.from({ length: 256 }, (_, n) => {
  let rest = n;
  for (let bit = 0; bit < 8; bit += 1) rest = rest & 1 ? 0xedb88320 ^ (rest >>> 1) : rest >>> 1;
  return rest;
});
/** Names are UTF-8. */
const FLAGS = 0x0800;
const VERSION = 20;
/** 1 January 1980, midnight: the format's zero, so that the same files give the same zip. */
const DATE = 0x21;

/** CRC-32 as in ISO/IEC 13239. @param {Uint8Array} bytes */
export function crc32(bytes) {
  let sum = 0xffffffff;
  for (const byte of bytes) sum = TABLE[(sum ^ byte) & 0xff] ^ (sum >>> 8);
  return (sum ^ 0xffffffff) >>> 0;
}

/** @param {...[number, number]} fields value and its width in bytes, little-endian */
function packed(...fields) {
  const view = new DataView(new ArrayBuffer(fields.reduce((sum, [, width]) => sum + width, 0)));
  let at = 0;
  for (const [value, width] of fields) {
    if (width === 2) view.setUint16(at, value, true);
    else view.setUint32(at, value, true);
    at += width;
  }
  return new Uint8Array(view.buffer);
}

/**
 * @param {File[]} files
 * @returns {Promise<Blob>}
 */
export async function zip(files) {
  /** @type {Uint8Array<ArrayBuffer>[]} */
  const bodies = [];
  /** @type {Uint8Array<ArrayBuffer>[]} */
  const directory = [];
  let at = 0;
  for (const file of files) {
    const name = new TextEncoder().encode(file.name);
    const bytes = new Uint8Array(await file.arrayBuffer());
    /** @type {[number, number][]} */
    const about = [[VERSION, 2], [FLAGS, 2], [0, 2], [0, 2], [DATE, 2], [crc32(bytes), 4], [bytes.length, 4], [bytes.length, 4], [name.length, 2], [0, 2]];
    bodies.push(packed([0x04034b50, 4], ...about), name, bytes);
    directory.push(packed([0x02014b50, 4], [VERSION, 2], ...about, [0, 2], [0, 2], [0, 2], [0, 4], [at, 4]), name);
    at += 30 + name.length + bytes.length;
  }
  const size = directory.reduce((sum, { length }) => sum + length, 0);
  const end = packed([0x06054b50, 4], [0, 2], [0, 2], [files.length, 2], [files.length, 2], [size, 4], [at, 4], [0, 2]);
  return new Blob([...bodies, ...directory, end], { type: "application/zip" });
}
