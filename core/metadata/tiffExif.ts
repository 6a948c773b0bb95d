import { NightError } from "../errors.ts";
import { exifDirectories, type ExifFields } from "./exif.ts";
import { directoryBytes, long, writeDirectory, type ExifEntry } from "./exifEntry.ts";
import { searchBytes, wholeFile } from "./fileSearch.ts";
import { readTiffDirectory, readTiffHead } from "./tiffDirectory.ts";

/** Says how chroma lies between the pixels of a JPEG; in a TIFF of RGB it has no meaning. */
const CHROMA_POSITION = 0x0213;

/** In a TIFF the size stands beside the picture; Exif's own size tags are for compressed data. */
const JPEG_ONLY = [0x9101, 0xa002, 0xa003];

const EXIF_POINTER = 0x8769;
const GPS_POINTER = 0x8825;

const HEAD_BYTES = 8;
/** A TIFF's third byte; a BigTIFF has 43. */
const CLASSIC = 42;

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

function readFirstDirectory(tiff: Uint8Array): {
  readonly entries: readonly ExifEntry[];
  readonly nextAt: number;
} {
  const file = wholeFile(tiff);
  const head = searchBytes(tiff, readTiffHead(file));
  const directory =
    head?.isLittleEndian === true && head.firstAt >= HEAD_BYTES && tiff[2] === CLASSIC
      ? searchBytes(tiff, readTiffDirectory(file, head.firstAt, head))
      : null;
  if (directory === null || directory.nextAt === null) {
    throw new NightError("image.unreadable", "this file is not a little-endian TIFF");
  }
  return { entries: directory.entries, nextAt: directory.nextAt };
}
