import type { ExifEntry } from "./exifEntry.ts";
import { uint, type FileSearch, type SearchedFile } from "./fileSearch.ts";

/** How a file with TIFF structure begins. */
export type TiffHead = { readonly isLittleEndian: boolean; readonly firstAt: number };

/** A directory: its entries as they stand, of which a longer value's four bytes are its offset. */
type TiffDirectory = {
  readonly entries: readonly ExifEntry[];
  /** Where the next directory begins; 0: there is none; null: the file ends within this one. */
  readonly nextAt: number | null;
};

const ENTRY_BYTES = 12;
/** More than any camera writes; a larger count is damage. Judgement. */
const ENTRIES_MAX = 1024;

/** Whether bytes begin as a file of TIFF structure does, in whichever byte order. */
export function startsAsTiff(head: Uint8Array): boolean {
  const [a, b] = head;
  return (a === 0x49 && b === 0x49) || (a === 0x4d && b === 0x4d);
}

/**
 * The beginning of a TIFF structure.
 * @param baseAt  Where it stands in the file; offsets within it count from there.
 */
export function* readTiffHead(file: SearchedFile, baseAt = 0): FileSearch<TiffHead | null> {
  const head = yield* file.read(baseAt, 8);
  if (head.length < 8 || !startsAsTiff(head)) return null;
  const isLittleEndian = head[0] === 0x49;
  return { isLittleEndian, firstAt: uint(head, 4, 4, { isLittleEndian }) };
}

/**
 * One directory; null when there is none at this place.
 * Source: TIFF 6.0, section 2.
 */
export function* readTiffDirectory(
  file: SearchedFile,
  at: number,
  order: { readonly isLittleEndian: boolean },
): FileSearch<TiffDirectory | null> {
  const head = yield* file.read(at, 2);
  const count = uint(head, 0, 2, order);
  if (head.length < 2 || count === 0 || count > ENTRIES_MAX) return null;
  const body = yield* file.read(at + 2, count * ENTRY_BYTES + 4);
  const whole = Math.min(count, Math.floor(body.length / ENTRY_BYTES));
  const entries = Array.from({ length: whole }, (_, index): ExifEntry => {
    const entry = body.subarray(index * ENTRY_BYTES, (index + 1) * ENTRY_BYTES);
    return {
      tag: uint(entry, 0, 2, order),
      type: uint(entry, 2, 2, order),
      count: uint(entry, 4, 4, order),
      bytes: entry.subarray(8),
    };
  });
  const isWhole = body.length >= count * ENTRY_BYTES + 4;
  return { entries, nextAt: isWhole ? uint(body, count * ENTRY_BYTES, 4, order) : null };
}
