import { uint, type ByteRange, type FileSearch, type SearchedFile } from "./fileSearch.ts";

const BIG_ENDIAN = { isLittleEndian: false } as const;
/** More boxes or items than any camera writes; what claims more is damage. Judgement. */
const BOXES_MAX = 64;
const ITEMS_MAX = 1024;
/** The index of a picture file is small; a larger one is damage. Judgement. */
const INDEX_BYTES_MAX = 1024 * 1024;
/** `infe` of a plain item: version, flags, id, protection, then the type's four letters. */
const ITEM_TYPE_AT = 8;

type Box = { readonly type: string; readonly content: ByteRange };

/**
 * Where the TIFF structure of a HEIF file's Exif item lies; null: this is no HEIF file, or it has none.
 * Only items with one extent in the file itself are looked for, as cameras write them.
 * Source: ISO/IEC 14496-12 (boxes, `meta`, `iinf`, `iloc`); ISO/IEC 23008-12, annex A (the item's
 * first four bytes count to the TIFF header); from memory of both.
 */
export function* findExifTiff(file: SearchedFile): FileSearch<ByteRange | null> {
  const head = yield* file.read(0, 12);
  if (head.length < 12 || letters(head, 4) !== "ftyp") return null;
  const whole = { offset: 0, bytes: file.fileBytes };
  const meta = yield* boxIn(file, whole, "meta");
  if (meta === null || meta.bytes > INDEX_BYTES_MAX) return null;
  // `meta` is a full box: version and flags come before its boxes.
  const boxes = { offset: meta.offset + 4, bytes: meta.bytes - 4 };
  const information = yield* boxIn(file, boxes, "iinf");
  const places = yield* boxIn(file, boxes, "iloc");
  if (information === null || places === null) return null;
  const id = yield* exifItemId(file, information);
  const item = id === null ? null : placeOf(yield* file.read(places.offset, places.bytes), id);
  if (item === null || item.bytes < 4) return null;
  const skipped = 4 + uint(yield* file.read(item.offset, 4), 0, 4, BIG_ENDIAN);
  return skipped >= item.bytes
    ? null
    : { offset: item.offset + skipped, bytes: item.bytes - skipped };
}

/** The first box of this type in a stretch. */
function* boxIn(file: SearchedFile, within: ByteRange, type: string): FileSearch<ByteRange | null> {
  let at = within.offset;
  for (let count = 0; count < BOXES_MAX; count += 1) {
    const box = yield* readBox(file, at, within.offset + within.bytes);
    if (box === null) return null;
    if (box.type === type) return box.content;
    at = box.content.offset + box.content.bytes;
  }
  return null;
}

function* readBox(file: SearchedFile, at: number, end: number): FileSearch<Box | null> {
  if (at + 8 > end) return null;
  const head = yield* file.read(at, 16);
  const stated = uint(head, 0, 4, BIG_ENDIAN);
  // 1: the size follows in 64 bits; 0: up to the end.
  const headBytes = stated === 1 ? 16 : 8;
  const size = stated === 1 ? uint(head, 8, 8, BIG_ENDIAN) : stated === 0 ? end - at : stated;
  if (head.length < 8 || size < headBytes || at + size > end) return null;
  const content = { offset: at + headBytes, bytes: size - headBytes };
  return { type: letters(head, 4), content };
}

function* exifItemId(file: SearchedFile, information: ByteRange): FileSearch<number | null> {
  const head = yield* file.read(information.offset, 8);
  const countBytes = head[0] === 0 ? 2 : 4;
  const count = Math.min(uint(head, 4, countBytes, BIG_ENDIAN), ITEMS_MAX);
  const end = information.offset + information.bytes;
  let at = information.offset + 4 + countBytes;
  for (let index = 0; index < count; index += 1) {
    const box = yield* readBox(file, at, end);
    if (box === null) return null;
    const entry = yield* file.read(box.content.offset, 16);
    const isWide = entry[0] === 3;
    const typeAt = ITEM_TYPE_AT + (isWide ? 2 : 0);
    if (letters(entry, typeAt) === "Exif") return uint(entry, 4, isWide ? 4 : 2, BIG_ENDIAN);
    at = box.content.offset + box.content.bytes;
  }
  return null;
}

/** The stretch of an item in `iloc`. */
function placeOf(table: Uint8Array, wantedId: number): ByteRange | null {
  const version = table[0] ?? 0;
  const [sizes, others] = [table[4] ?? 0, table[5] ?? 0];
  const [offsetBytes, lengthBytes] = [sizes >> 4, sizes & 15];
  const [baseBytes, indexBytes] = [others >> 4, version === 0 ? 0 : others & 15];
  const idBytes = version < 2 ? 2 : 4;
  let at = 6;
  const next = (bytes: number): number => {
    const value = uint(table, at, bytes, BIG_ENDIAN);
    at += bytes;
    return value;
  };
  const count = Math.min(next(idBytes), ITEMS_MAX);
  for (let index = 0; index < count && at < table.length; index += 1) {
    const id = next(idBytes);
    const construction = version === 0 ? 0 : next(2) & 15;
    next(2);
    const base = next(baseBytes);
    const extents = next(2);
    let place: ByteRange | null = null;
    for (let extent = 0; extent < extents && at < table.length; extent += 1) {
      next(indexBytes);
      place = { offset: base + next(offsetBytes), bytes: next(lengthBytes) };
    }
    if (id === wantedId) return extents === 1 && construction === 0 ? place : null;
  }
  return null;
}

function letters(bytes: Uint8Array, at: number): string {
  return String.fromCharCode(...bytes.subarray(at, at + 4));
}
