import { uint, type ByteRange, type FileSearch, type SearchedFile } from "./fileSearch.ts";
import type { ExifEntry } from "./exifEntry.ts";
import { findExifTiff } from "./heifItems.ts";
import { frameHeaderOf, walkJpeg } from "./jpegMarkers.ts";
import { readTiffDirectory, readTiffHead, type TiffHead } from "./tiffDirectory.ts";

/** A JPEG inside a raw file. */
export type EmbeddedJpeg = ByteRange & { readonly widthPx: number; readonly heightPx: number };

/**
 * Finds the largest JPEG inside a file with TIFF structure (TIFF/EP, DNG and most raw files), or
 * inside the Exif item of a HEIF file, without reading the file whole.
 *
 * Walks the chain of image file directories and their SubIFDs, takes every stretch that a directory
 * calls a JPEG, and looks into each for its start-of-frame: lossless JPEG (marker C3), which holds
 * sensor data, is passed over. Damaged directories, loops and offsets outside the file are skipped,
 * never followed.
 *
 * @param fileBytes  Size of the file; ranges outside it are never asked for.
 * @returns The picture with the most pixels (then the most bytes), or null when there is none.
 * Source: TIFF 6.0 (directories, tags 0x0103, 0x0111, 0x0117, 0x0201, 0x0202); TIFF/EP, ISO 12234-2
 * (SubIFDs 0x014A); DNG 1.4 (JPEG previews with compression 7 and photometric interpretation 6 or 2);
 * ITU-T T.81 for the markers; from memory of all four.
 */
export function* findLargestJpeg(fileBytes: number): FileSearch<EmbeddedJpeg | null> {
  const file = createWindow(fileBytes);
  const exif = yield* findExifTiff(file);
  if (exif === null) return yield* largestIn(file);
  const found = yield* largestIn(partOf(file, exif));
  return found === null ? null : { ...found, offset: found.offset + exif.offset };
}

/** A stretch of a file as a file of its own. */
function partOf(file: SearchedFile, { offset, bytes }: ByteRange): SearchedFile {
  return { fileBytes: bytes, read: (at, count) => file.read(offset + at, count) };
}

function* largestIn(file: SearchedFile): FileSearch<EmbeddedJpeg | null> {
  const head = yield* readTiffHead(file);
  if (head === null) return null;
  const candidates = yield* collectCandidates(file, head);
  let largest: EmbeddedJpeg | null = null;
  for (const candidate of candidates) {
    const size = yield* readJpegSize(file, candidate);
    if (size !== null && isLarger(size, largest)) largest = size;
  }
  return largest;
}

const DIRECTORIES_MAX = 64;
const SUB_DIRECTORIES_MAX = 32;

const TAG = {
  compression: 0x0103,
  photometric: 0x0106,
  stripOffsets: 0x0111,
  stripByteCounts: 0x0117,
  subDirectories: 0x014a,
  jpegOffset: 0x0201,
  jpegBytes: 0x0202,
  /** A whole JPEG as an opaque value, seen in the first directory of some raw files; from memory. */
  opaqueJpeg: 0x002e,
} as const;

/** Colour filter array and linear raw: sensor data, whatever its compression. Source: TIFF/EP, DNG. */
const SENSOR_PHOTOMETRICS = [32803, 34892];
const JPEG_COMPRESSIONS = [6, 7, 34892];

function* collectCandidates(file: SearchedFile, head: TiffHead): FileSearch<ByteRange[]> {
  const candidates: ByteRange[] = [];
  const seen = new Set<number>();
  const queue = [head.firstAt];
  for (let offset = queue.shift(); offset !== undefined; offset = queue.shift()) {
    if (offset < 8 || seen.has(offset) || seen.size >= DIRECTORIES_MAX) continue;
    seen.add(offset);
    const directory = yield* readDirectory(file, offset, head);
    if (directory === null) continue;
    candidates.push(...jpegsOf(directory.fields));
    queue.push(...(directory.fields.get(TAG.subDirectories)?.values ?? []), directory.next);
  }
  return candidates.filter(
    (range, index) =>
      range.offset + 4 <= file.fileBytes &&
      range.bytes >= 4 &&
      candidates.findIndex((other) => other.offset === range.offset) === index,
  );
}

type Field = { readonly values: readonly number[]; readonly opaque: ByteRange | null };
type Directory = { readonly fields: ReadonlyMap<number, Field>; readonly next: number };

function* readDirectory(
  file: SearchedFile,
  at: number,
  order: TiffHead,
): FileSearch<Directory | null> {
  const directory = yield* readTiffDirectory(file, at, order);
  if (directory === null) return null;
  const fields = new Map<number, Field>();
  for (const entry of directory.entries) {
    if (WANTED_TAGS.has(entry.tag)) fields.set(entry.tag, yield* readField(file, entry, order));
  }
  return { fields, next: directory.nextAt ?? NO_DIRECTORY };
}

const WANTED_TAGS: ReadonlySet<number> = new Set(Object.values(TAG));
const NO_DIRECTORY = 0;

/** Sizes of the TIFF field types that hold whole numbers: BYTE, SHORT, LONG, UNDEFINED, IFD. */
const TYPE_BYTES: Readonly<Record<number, number>> = { 1: 1, 3: 2, 4: 4, 7: 1, 13: 4 };

function* readField(
  file: SearchedFile,
  { type, count, bytes: inEntry }: ExifEntry,
  order: TiffHead,
): FileSearch<Field> {
  const size = TYPE_BYTES[type];
  const valueOrOffset = uint(inEntry, 0, 4, order);
  if (size === undefined || count === 0) return { values: [], opaque: null };
  if (size === 1 && count > 4) {
    return { values: [], opaque: { offset: valueOrOffset, bytes: count } };
  }
  const kept = Math.min(count, SUB_DIRECTORIES_MAX);
  const bytes = count * size <= 4 ? inEntry : yield* file.read(valueOrOffset, kept * size);
  const values: number[] = [];
  for (let index = 0; index < kept && (index + 1) * size <= bytes.length; index += 1) {
    values.push(uint(bytes, index * size, size, order));
  }
  // A picture in many strips is no JPEG file; a count that is cut here stays larger than one.
  return { values: count > kept ? [...values, 0] : values, opaque: null };
}

/** Stretches that a directory calls a JPEG. */
function jpegsOf(fields: ReadonlyMap<number, Field>): ByteRange[] {
  const one = (tag: number): number | undefined => {
    const values = fields.get(tag)?.values;
    return values?.length === 1 ? values[0] : undefined;
  };
  const ranges: ByteRange[] = [];
  const add = (offset: number | undefined, bytes: number | undefined): void => {
    if (offset !== undefined && bytes !== undefined) ranges.push({ offset, bytes });
  };
  add(one(TAG.jpegOffset), one(TAG.jpegBytes));
  const isSensor = SENSOR_PHOTOMETRICS.includes(one(TAG.photometric) ?? -1);
  if (!isSensor && JPEG_COMPRESSIONS.includes(one(TAG.compression) ?? -1)) {
    add(one(TAG.stripOffsets), one(TAG.stripByteCounts));
  }
  const opaque = fields.get(TAG.opaqueJpeg)?.opaque;
  if (opaque) ranges.push(opaque);
  return ranges;
}

/** Segments looked at before a start-of-frame must have come; Exif and colour profiles fill some. */
const SEGMENTS_MAX = 64;

/** Picture size from the start-of-frame; null when this is no JPEG that a viewer can show. */
function* readJpegSize(file: SearchedFile, range: ByteRange): FileSearch<EmbeddedJpeg | null> {
  const { offset } = range;
  const bytes = Math.min(range.bytes, file.fileBytes - offset);
  const stretch = { offset, bytes, segmentsMax: SEGMENTS_MAX };
  const frame = yield* walkJpeg(file, stretch, frameHeaderOf);
  if (frame === null || !VIEWABLE_FRAMES.includes(frame.marker)) return null;
  const { widthPx, heightPx } = frame;
  return widthPx > 0 && heightPx > 0 ? { offset, bytes, widthPx, heightPx } : null;
}

/** Baseline, extended and progressive Huffman coding. */
const VIEWABLE_FRAMES = [0xc0, 0xc1, 0xc2];

function isLarger(one: EmbeddedJpeg, other: EmbeddedJpeg | null): boolean {
  if (other === null) return true;
  const pixels = one.widthPx * one.heightPx - other.widthPx * other.heightPx;
  return pixels > 0 || (pixels === 0 && one.bytes > other.bytes);
}

/**
 * Reads in blocks: directories and markers lie close together, and each request to a camera costs a
 * round trip. Two blocks are kept, one for the directories and one for what they point to.
 */
const BLOCK_BYTES = 4096;

function createWindow(fileBytes: number): SearchedFile {
  let blocks: readonly { readonly offset: number; readonly data: Uint8Array }[] = [];
  function* read(offset: number, bytes: number): FileSearch<Uint8Array> {
    const end = Math.min(offset + bytes, fileBytes);
    if (offset >= end) return new Uint8Array(0);
    const held = blocks.find(
      (block) => block.offset <= offset && end <= block.offset + block.data.length,
    );
    if (held) return held.data.subarray(offset - held.offset, end - held.offset);
    const wanted = Math.min(Math.max(bytes, BLOCK_BYTES), fileBytes - offset);
    const data = yield { offset, bytes: wanted };
    blocks = [{ offset, data }, ...blocks.slice(0, 1)];
    return data.subarray(0, Math.min(end - offset, data.length));
  }
  return { fileBytes, read };
}
