import { NightError } from "../errors.ts";
import type { UtcMs } from "../units.ts";
import {
  ascii,
  bytesEntry,
  comment,
  encodeTiff,
  long,
  rational,
  short,
  signedRational,
  undefinedBytes,
  type ExifDirectories,
  type ExifEntry,
} from "./exifEntry.ts";
import { EXIF_IDENTIFIER, isExifSegment, walkWholeJpeg } from "./jpegHeader.ts";
import { FULL_FRAME_WIDTH_MM } from "./lensFacts.ts";
import { startsAsJpeg } from "./jpegMarkers.ts";

/** What a frame's Exif says. Null: not known, and then not written. */
export type ExifFields = {
  readonly widthPx: number;
  readonly heightPx: number;
  /** 1 upright … 8, as in TIFF. */
  readonly orientation?: number;
  /** The time that the shutter was really open. */
  readonly exposureSeconds: number | null;
  readonly iso: number | null;
  readonly fNumber: number | null;
  readonly focalLengthMm: number | null;
  /** Width of the sensor that the image's whole width shows; left out: not known. */
  readonly sensorWidthMm?: number;
  readonly isManual: boolean;
  /** How `iso` is meant: 1 standard output sensitivity, 2 recommended exposure index. */
  readonly sensitivityType: 1 | 2;
  /** Opening of the shutter. */
  readonly takenUtcMs: UtcMs;
  /** Zone in which the times are written, minutes east of UTC. */
  readonly utcOffsetMinutes: number;
  readonly exposureBiasStops: number;
  /** Brightness value of the scene in APEX. */
  readonly brightnessApex: number | null;
  /** ASCII; other characters become "?". */
  readonly description: string | null;
  /** Any characters. */
  readonly userComment: string | null;
  readonly maker: string | null;
  readonly model: string | null;
  readonly software: string | null;
  readonly bodySerialNumber: string | null;
  readonly place: ExifPlace | null;
  /** A JPEG; left out when it would not fit into the 64 KiB of the segment. */
  readonly thumbnail: Uint8Array | null;
};

/** Where, and which way the lens looked. */
type ExifPlace = {
  /** North and east positive. */
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  /** Above mean sea level. */
  readonly altitudeM: number | null;
  /** From true north, clockwise. */
  readonly directionDeg: number | null;
};

/** Unit of the focal plane's resolution. Source: Exif 2.32, tag A210. */
const CENTIMETRE = 3;

const SEGMENT_BYTES_MAX = 0xffff;

/**
 * The APP1 segment, marker and all, that goes into a JPEG.
 *
 * Sensitivities of 65 535 and more are written as 65 535 with the number itself in a LONG tag.
 *
 * @throws NightError `quantity.out_of_range` for an exposure, ISO or f-number that is not positive.
 * Source: CIPA DC-008 (Exif 2.32); tag numbers and types as listed there, APEX after its annex C.
 */
export function encodeExif(fields: ExifFields): Uint8Array {
  const tiff = tiffOf(fields, fields.thumbnail);
  const bytes = EXIF_IDENTIFIER.length + 2 + tiff.byteLength;
  if (bytes > SEGMENT_BYTES_MAX) return segment(tiffOf(fields, null));
  return segment(tiff);
}

/**
 * The JPEG with this APP1 segment right behind its beginning, in place of the Exif that it had.
 * Other segments and the picture itself stay byte for byte.
 *
 * @throws NightError `image.unreadable` when the bytes do not begin like a JPEG.
 */
export function withExif(jpeg: Uint8Array, exifSegment: Uint8Array): Uint8Array {
  const kept = segmentsWithoutExif(jpeg);
  const length = kept.reduce((sum, part) => sum + part.byteLength, 2 + exifSegment.byteLength);
  const result = new Uint8Array(length);
  result.set([0xff, 0xd8]);
  result.set(exifSegment, 2);
  let offset = 2 + exifSegment.byteLength;
  for (const part of kept) {
    result.set(part, offset);
    offset += part.byteLength;
  }
  return result;
}

function segment(tiff: Uint8Array): Uint8Array {
  const bytes = new Uint8Array(4 + EXIF_IDENTIFIER.length + tiff.byteLength);
  const view = new DataView(bytes.buffer);
  view.setUint16(0, 0xffe1);
  view.setUint16(2, bytes.byteLength - 2);
  bytes.set(EXIF_IDENTIFIER, 4);
  bytes.set(tiff, 4 + EXIF_IDENTIFIER.length);
  return bytes;
}

function tiffOf(fields: ExifFields, thumbnail: Uint8Array | null): Uint8Array {
  return encodeTiff({ ...exifDirectories(fields), thumbnail });
}

/**
 * The directories of a picture: what stands beside it, its Exif, its place (empty: not known).
 *
 * @throws NightError `quantity.out_of_range` for an exposure, ISO or f-number that is not positive.
 * Source: CIPA DC-008 (Exif 2.32).
 */
export function exifDirectories(fields: ExifFields): Omit<ExifDirectories, "thumbnail"> {
  for (const name of ["exposureSeconds", "iso", "fNumber"] as const) {
    const value = fields[name];
    if (value === null || (value > 0 && Number.isFinite(value))) continue;
    throw new NightError("quantity.out_of_range", `Exif needs a positive ${name}`, {
      [name]: value,
    });
  }
  return {
    image: imageEntries(fields),
    exif: exifEntries(fields),
    gps: fields.place === null ? [] : gpsEntries(fields.place, fields.takenUtcMs),
  };
}

function imageEntries(fields: ExifFields): readonly ExifEntry[] {
  const { date } = localTime(fields);
  return present([
    text(0x010e, fields.description),
    text(0x010f, fields.maker),
    text(0x0110, fields.model),
    short(0x0112, fields.orientation ?? 1),
    rational(0x011a, [72]),
    rational(0x011b, [72]),
    short(0x0128, 2),
    text(0x0131, fields.software),
    ascii(0x0132, date),
    short(0x0213, 1),
  ]);
}

function exifEntries(fields: ExifFields): readonly ExifEntry[] {
  const { date, offset, fraction } = localTime(fields);
  const { focalLengthMm, brightnessApex } = fields;
  return present([
    ...exposureEntries(fields),
    ...sensitivityEntries(fields),
    short(0x8822, fields.isManual ? 1 : 2),
    undefinedBytes(0x9000, [0x30, 0x32, 0x33, 0x32]),
    ascii(0x9003, date),
    ascii(0x9004, date),
    ascii(0x9010, offset),
    ascii(0x9011, offset),
    ascii(0x9012, offset),
    undefinedBytes(0x9101, [1, 2, 3, 0]),
    brightnessApex === null ? null : signedRational(0x9203, brightnessApex),
    signedRational(0x9204, fields.exposureBiasStops),
    focalLengthMm === null ? null : rational(0x920a, [focalLengthMm]),
    fields.userComment === null ? null : comment(0x9286, fields.userComment),
    ascii(0x9290, fraction),
    ascii(0x9291, fraction),
    ascii(0x9292, fraction),
    undefinedBytes(0xa000, [0x30, 0x31, 0x30, 0x30]),
    short(0xa001, 1),
    long(0xa002, fields.widthPx),
    long(0xa003, fields.heightPx),
    ...focalPlaneEntries(fields),
    short(0xa402, fields.isManual ? 1 : 0),
    short(0xa403, 1),
    ...fullFrameEntries(fields),
    short(0xa406, 0),
    text(0xa431, fields.bodySerialNumber),
  ]);
}

/** Pixels of this very image per centimetre of the sensor. */
function focalPlaneEntries({ sensorWidthMm, widthPx }: ExifFields): readonly ExifEntry[] {
  if (sensorWidthMm === undefined) return [];
  const perCentimetre = (widthPx * 10) / sensorWidthMm;
  return [
    rational(0xa20e, [perCentimetre]),
    rational(0xa20f, [perCentimetre]),
    short(0xa210, CENTIMETRE),
  ];
}

function fullFrameEntries({ sensorWidthMm, focalLengthMm }: ExifFields): readonly ExifEntry[] {
  if (sensorWidthMm === undefined || focalLengthMm === null) return [];
  return [short(0xa405, Math.round((focalLengthMm * FULL_FRAME_WIDTH_MM) / sensorWidthMm))];
}

function exposureEntries({ exposureSeconds, fNumber }: ExifFields): readonly ExifEntry[] {
  return [
    ...(exposureSeconds === null
      ? []
      : [rational(0x829a, [exposureSeconds]), signedRational(0x9201, -Math.log2(exposureSeconds))]),
    ...(fNumber === null
      ? []
      : [rational(0x829d, [fNumber]), rational(0x9202, [2 * Math.log2(fNumber)])]),
  ];
}

function sensitivityEntries({ iso, sensitivityType }: ExifFields): readonly ExifEntry[] {
  if (iso === null) return [];
  const sensitivity = Math.round(iso);
  return [
    short(0x8827, Math.min(65535, sensitivity)),
    short(0x8830, sensitivityType),
    long(sensitivityType === 1 ? 0x8831 : 0x8832, sensitivity),
  ];
}

function gpsEntries(place: ExifPlace, takenUtcMs: UtcMs): readonly ExifEntry[] {
  const iso = new Date(takenUtcMs).toISOString();
  const seconds = Number(iso.slice(17, 23));
  const { altitudeM, directionDeg } = place;
  return present([
    bytesEntry(0x00, [2, 3, 0, 0]),
    ascii(0x01, place.latitudeDeg < 0 ? "S" : "N"),
    rational(0x02, degreesMinutesSeconds(place.latitudeDeg)),
    ascii(0x03, place.longitudeDeg < 0 ? "W" : "E"),
    rational(0x04, degreesMinutesSeconds(place.longitudeDeg)),
    altitudeM === null ? null : bytesEntry(0x05, [altitudeM < 0 ? 1 : 0]),
    altitudeM === null ? null : rational(0x06, [Math.abs(altitudeM)]),
    rational(0x07, [Number(iso.slice(11, 13)), Number(iso.slice(14, 16)), seconds]),
    directionDeg === null ? null : ascii(0x10, "T"),
    directionDeg === null ? null : rational(0x11, [((directionDeg % 360) + 360) % 360]),
    ascii(0x12, "WGS-84"),
    // The place is the night's, not measured with the frame.
    comment(0x1b, "MANUAL"),
    ascii(0x1d, iso.slice(0, 10).replaceAll("-", ":")),
  ]);
}

/** Rounded to 0.1 milliseconds of arc as a whole, so that no 60 seconds can appear. */
function degreesMinutesSeconds(degrees: number): readonly [number, number, number] {
  const units = Math.round(Math.abs(degrees) * 36_000_000);
  return [
    Math.floor(units / 36_000_000),
    Math.floor(units / 600_000) % 60,
    (units % 600_000) / 10_000,
  ];
}

function localTime(fields: ExifFields): {
  readonly date: string;
  readonly offset: string;
  readonly fraction: string;
} {
  const { utcOffsetMinutes } = fields;
  const iso = new Date(fields.takenUtcMs + utcOffsetMinutes * 60_000).toISOString();
  const minutes = Math.abs(utcOffsetMinutes);
  const two = (value: number): string => String(value).padStart(2, "0");
  return {
    date: `${iso.slice(0, 10).replaceAll("-", ":")} ${iso.slice(11, 19)}`,
    offset: `${utcOffsetMinutes < 0 ? "-" : "+"}${two(Math.floor(minutes / 60))}:${two(minutes % 60)}`,
    fraction: iso.slice(20, 23),
  };
}

function text(tag: number, value: string | null): ExifEntry | null {
  return value === null || value === "" ? null : ascii(tag, value);
}

function present(entries: readonly (ExifEntry | null)[]): readonly ExifEntry[] {
  return entries.filter((entry) => entry !== null);
}

/** Everything after the JPEG's beginning, cut where an Exif segment was. */
function segmentsWithoutExif(jpeg: Uint8Array): readonly Uint8Array[] {
  if (!startsAsJpeg(jpeg)) {
    throw new NightError("image.unreadable", "this file does not begin like a JPEG");
  }
  const kept: Uint8Array[] = [];
  let keptFrom = 2;
  walkWholeJpeg(jpeg, (segment) => {
    if (!isExifSegment(jpeg, segment)) return;
    kept.push(jpeg.subarray(keptFrom, segment.offset));
    keptFrom = Math.min(segment.offset + segment.bytes, jpeg.byteLength);
  });
  return [...kept, jpeg.subarray(keptFrom)];
}
