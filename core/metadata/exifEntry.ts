/** One field of a directory: its tag, its type, how many values, and their bytes (little endian). */
export type ExifEntry = {
  readonly tag: number;
  readonly type: number;
  readonly count: number;
  readonly bytes: Uint8Array;
};

// Types below: TIFF 6.0, section 2.

/** BYTE values. */
export function bytesEntry(tag: number, values: readonly number[]): ExifEntry {
  return { tag, type: 1, count: values.length, bytes: Uint8Array.from(values) };
}

/** UNDEFINED: bytes with a meaning of the tag's own. */
export function undefinedBytes(tag: number, values: readonly number[]): ExifEntry {
  return { tag, type: 7, count: values.length, bytes: Uint8Array.from(values) };
}

/** ASCII with its NUL; characters outside printable ASCII become "?". */
export function ascii(tag: number, value: string): ExifEntry {
  const codes = Array.from(value, (character) => {
    const code = character.codePointAt(0)!;
    return code >= 0x20 && code <= 0x7e ? code : 0x3f;
  });
  return { tag, type: 2, count: codes.length + 1, bytes: Uint8Array.from([...codes, 0]) };
}

/** SHORT, unsigned 16 bits. */
export function short(tag: number, value: number): ExifEntry {
  const bytes = new Uint8Array(2);
  new DataView(bytes.buffer).setUint16(0, value, true);
  return { tag, type: 3, count: 1, bytes };
}

/** LONG, unsigned 32 bits. */
export function long(tag: number, value: number): ExifEntry {
  const bytes = new Uint8Array(4);
  new DataView(bytes.buffer).setUint32(0, value, true);
  return { tag, type: 4, count: 1, bytes };
}

/** RATIONAL values, ≥ 0, to a millionth where that fits 32 bits. */
export function rational(tag: number, values: readonly number[]): ExifEntry {
  const bytes = new Uint8Array(values.length * 8);
  const view = new DataView(bytes.buffer);
  for (const [index, value] of values.entries()) {
    const [numerator, denominator] = fraction(value, 0xffffffff);
    view.setUint32(index * 8, numerator, true);
    view.setUint32(index * 8 + 4, denominator, true);
  }
  return { tag, type: 5, count: values.length, bytes };
}

/** SRATIONAL: the same with a sign. */
export function signedRational(tag: number, value: number): ExifEntry {
  const bytes = new Uint8Array(8);
  const view = new DataView(bytes.buffer);
  const [numerator, denominator] = fraction(value, 0x7fffffff);
  view.setInt32(0, numerator, true);
  view.setInt32(4, denominator, true);
  return { tag, type: 10, count: 1, bytes };
}

/**
 * A comment in any characters: plain where ASCII serves, else UTF-16 in the byte order of the file.
 * Source: CIPA DC-008 on UserComment, its character codes "ASCII" and "UNICODE".
 */
export function comment(tag: number, value: string): ExifEntry {
  const isAscii = /^[\x20-\x7e]*$/.test(value);
  const code = isAscii ? "ASCII\0\0\0" : "UNICODE\0";
  const units = Array.from({ length: value.length }, (_, index) => value.charCodeAt(index));
  const body = isAscii ? units : units.flatMap((unit) => [unit & 0xff, unit >> 8]);
  const head = Array.from(code, (character) => character.charCodeAt(0));
  return undefinedBytes(tag, [...head, ...body]);
}

/** The directories of a file. */
export type ExifDirectories = {
  readonly image: readonly ExifEntry[];
  readonly exif: readonly ExifEntry[];
  /** Empty: none is written. */
  readonly gps: readonly ExifEntry[];
  /** A JPEG; null: no second directory. */
  readonly thumbnail: Uint8Array | null;
};

const TIFF_HEADER_BYTES = 8;

/**
 * The TIFF structure inside an Exif segment, little endian: image directory, Exif directory, GPS
 * directory, thumbnail directory, thumbnail. Entries may come in any order.
 * Source: TIFF 6.0 section 2; pointers as CIPA DC-008 has them.
 */
export function encodeTiff(directories: ExifDirectories): Uint8Array {
  const { exif, gps, thumbnail } = directories;
  const pointers = (exifAt: number, gpsAt: number): readonly ExifEntry[] => [
    ...directories.image,
    long(0x8769, exifAt),
    ...(gps.length > 0 ? [long(0x8825, gpsAt)] : []),
  ];
  const thumbnailEntries = (at: number): readonly ExifEntry[] => [
    short(0x0103, 6),
    rational(0x011a, [72]),
    rational(0x011b, [72]),
    short(0x0128, 2),
    long(0x0201, at),
    long(0x0202, thumbnail?.byteLength ?? 0),
  ];
  // Pointers lie inside their entries, so sizes do not depend on where things come to lie.
  const exifAt = TIFF_HEADER_BYTES + directoryBytes(pointers(0, 0));
  const gpsAt = exifAt + directoryBytes(exif);
  const secondAt = gpsAt + (gps.length > 0 ? directoryBytes(gps) : 0);
  const thumbnailAt = secondAt + directoryBytes(thumbnailEntries(0));
  const result = new Uint8Array(thumbnail === null ? secondAt : thumbnailAt + thumbnail.byteLength);
  result.set([0x49, 0x49, 0x2a, 0, TIFF_HEADER_BYTES]);
  const image = pointers(exifAt, gpsAt);
  writeDirectory(result, TIFF_HEADER_BYTES, image, thumbnail === null ? 0 : secondAt);
  writeDirectory(result, exifAt, exif, 0);
  if (gps.length > 0) writeDirectory(result, gpsAt, gps, 0);
  if (thumbnail !== null) {
    writeDirectory(result, secondAt, thumbnailEntries(thumbnailAt), 0);
    result.set(thumbnail, thumbnailAt);
  }
  return result;
}

/** Size of a directory with its values behind it. */
export function directoryBytes(entries: readonly ExifEntry[]): number {
  return entries.reduce((sum, { bytes }) => sum + 12 + outsideBytes(bytes), 2 + 4);
}

/** Values longer than their entry lie behind the directory, on even offsets. */
function outsideBytes(bytes: Uint8Array): number {
  return bytes.byteLength <= 4 ? 0 : bytes.byteLength + (bytes.byteLength % 2);
}

/**
 * Writes a directory, little endian, its entries by rising tag and its longer values behind it.
 *
 * @param at  Where it begins: an even offset, as TIFF 6.0 wants it.
 * @param nextAt  Where the next directory begins; 0: there is none.
 */
export function writeDirectory(
  target: Uint8Array,
  at: number,
  entries: readonly ExifEntry[],
  nextAt: number,
): void {
  const view = new DataView(target.buffer, target.byteOffset);
  const sorted = [...entries].sort((a, b) => a.tag - b.tag);
  view.setUint16(at, sorted.length, true);
  let outsideAt = at + 2 + 12 * sorted.length + 4;
  for (const [index, entry] of sorted.entries()) {
    const entryAt = at + 2 + 12 * index;
    view.setUint16(entryAt, entry.tag, true);
    view.setUint16(entryAt + 2, entry.type, true);
    view.setUint32(entryAt + 4, entry.count, true);
    if (entry.bytes.byteLength <= 4) {
      target.set(entry.bytes, entryAt + 8);
    } else {
      view.setUint32(entryAt + 8, outsideAt, true);
      target.set(entry.bytes, outsideAt);
      outsideAt += outsideBytes(entry.bytes);
    }
  }
  view.setUint32(at + 2 + 12 * sorted.length, nextAt, true);
}

/** Numerator and denominator, reduced, with the finest of the steps 1/10^6 … 1 that fits. */
function fraction(value: number, max: number): readonly [number, number] {
  for (let denominator = 1_000_000; denominator >= 1; denominator /= 10) {
    const numerator = Math.round(value * denominator);
    if (Math.abs(numerator) > max) continue;
    const divisor = gcd(Math.abs(numerator), denominator);
    return [numerator / divisor, denominator / divisor];
  }
  return [value < 0 ? -max : max, 1];
}

function gcd(a: number, b: number): number {
  return b === 0 ? Math.max(a, 1) : gcd(b, a % b);
}
