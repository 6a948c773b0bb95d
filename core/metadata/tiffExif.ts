import { NightError } from "../errors.ts";
import { exifDirectories, type ExifFields } from "./exif.ts";
import { directoryBytes, long, writeDirectory, type ExifEntry } from "./exifEntry.ts";

/** Says how chroma lies between the pixels of a JPEG; in a TIFF of RGB it has no meaning. */
const CHROMA_POSITION = 0x0213;

/** In a TIFF the size stands beside the picture; Exif's own size tags are for compressed data. */
const JPEG_ONLY = [0x9101, 0xa002, 0xa003];

const EXIF_POINTER = 0x8769;
const GPS_POINTER = 0x8825;

const ENTRY_BYTES = 12;

/**
 * The TIFF with this Exif: its picture and every field that it had stay where they are, and a new
 * first directory behind them leads to all of it and to the Exif and GPS directories. What the file
 * itself says of its picture (size, resolution, orientation) is never changed.
 *
 * @param tiff  A classic little-endian TIFF, as libtiff writes it on every machine of today.
 * @throws NightError `image.unreadable` for other files, and `quantity.out_of_range` as
 *   `exifDirectories`.
 * Source: TIFF 6.0 section 2; pointers 0x8769 and 0x8825 as CIPA DC-008 has them.
 */
export function withTiffExif(tiff: Uint8Array, fields: ExifFields): Uint8Array {
  const { entries: found, nextAt } = readFirstDirectory(tiff);
  const kept = found.filter(({ tag }) => tag !== EXIF_POINTER && tag !== GPS_POINTER);
  const { image, exif, gps } = exifDirectories(fields);
  const ownTags = new Set(kept.map(({ tag }) => tag));
  const added = image.filter(({ tag }) => tag !== CHROMA_POSITION && !ownTags.has(tag));
  const exifFields = exif.filter(({ tag }) => !JPEG_ONLY.includes(tag));

  const exifAt = tiff.byteLength + (tiff.byteLength % 2);
  const gpsAt = exifAt + directoryBytes(exifFields);
  const imageAt = gpsAt + (gps.length > 0 ? directoryBytes(gps) : 0);
  const entries = [
    ...kept,
    ...added,
    long(EXIF_POINTER, exifAt),
    ...(gps.length > 0 ? [long(GPS_POINTER, gpsAt)] : []),
  ];
  const result = new Uint8Array(imageAt + directoryBytes(entries));
  result.set(tiff);
  writeDirectory(result, exifAt, exifFields, 0);
  if (gps.length > 0) writeDirectory(result, gpsAt, gps, 0);
  writeDirectory(result, imageAt, entries, nextAt);
  new DataView(result.buffer).setUint32(4, imageAt, true);
  return result;
}

/** Entries as they stand: a longer value's four bytes are its offset, and it stays where it is. */
function readFirstDirectory(tiff: Uint8Array): {
  readonly entries: readonly ExifEntry[];
  readonly nextAt: number;
} {
  const view = new DataView(tiff.buffer, tiff.byteOffset, tiff.byteLength);
  const isTiff = tiff.byteLength >= 14 && view.getUint32(0, true) === 0x002a4949;
  const at = isTiff ? view.getUint32(4, true) : 0;
  const count = at >= 8 && at + 2 <= tiff.byteLength ? view.getUint16(at, true) : 0;
  const endAt = at + 2 + count * ENTRY_BYTES;
  if (count === 0 || endAt + 4 > tiff.byteLength) {
    throw new NightError("image.unreadable", "this file is not a little-endian TIFF");
  }
  const entries = Array.from({ length: count }, (_, n) => {
    const entryAt = at + 2 + n * ENTRY_BYTES;
    return {
      tag: view.getUint16(entryAt, true),
      type: view.getUint16(entryAt + 2, true),
      count: view.getUint32(entryAt + 4, true),
      bytes: tiff.subarray(entryAt + 8, entryAt + ENTRY_BYTES),
    };
  });
  return { entries, nextAt: view.getUint32(endAt, true) };
}
