import exifr from "exifr";
import type { Exposure } from "../core/exposure/exposure.ts";
import { exifDateMs } from "../core/metadata/exifDate.ts";

/** What an image file says of how it was taken; null where it says nothing. */
export type ImageExif = {
  readonly exposureSeconds: number | null;
  readonly iso: number | null;
  readonly fNumber: number | null;
  readonly focalLengthMm: number | null;
  /** Capture time, milliseconds; only differences between frames of one camera mean anything. */
  readonly takenMs: number | null;
};

const NOTHING: ImageExif = {
  exposureSeconds: null,
  iso: null,
  fNumber: null,
  focalLengthMm: null,
  takenMs: null,
};

/** Exif tags that are read. Source: Exif 2.32 (CIPA DC-008). */
const TAGS = [
  "ExposureTime",
  "FNumber",
  "ISO",
  "PhotographicSensitivity",
  "ISOSpeed",
  "RecommendedExposureIndex",
  "StandardOutputSensitivity",
  "FocalLength",
  "DateTimeOriginal",
  "SubSecTimeOriginal",
];

/** Reads an image's Exif; an image without any, or with a broken one, says nothing. */
export async function readImageExif(image: Uint8Array): Promise<ImageExif> {
  let tags: Record<string, unknown> | undefined;
  try {
    tags = (await exifr.parse(image, { pick: TAGS, reviveValues: false })) as typeof tags;
  } catch {
    // Exif is a courtesy of the camera; the picture can be metered without.
    return NOTHING;
  }
  if (tags === undefined) return NOTHING;
  return {
    exposureSeconds: positive(tags["ExposureTime"]),
    iso: sensitivityOf(tags),
    fNumber: positive(tags["FNumber"]),
    focalLengthMm: positive(tags["FocalLength"]),
    takenMs: exifDateMs(tags["DateTimeOriginal"], tags["SubSecTimeOriginal"]),
  };
}

/** The exposure that a picture's own Exif tells; null when it does not tell all of it. */
export async function exposureInFile(image: Uint8Array): Promise<Exposure | null> {
  const { exposureSeconds, iso, fNumber } = await readImageExif(image);
  if (exposureSeconds === null || iso === null || fNumber === null) return null;
  return { exposureSeconds, iso, fNumber };
}

function positive(value: unknown): number | null {
  return typeof value === "number" && Number.isFinite(value) && value > 0 ? value : null;
}

/** 65535 in the short tag means "see the long one". */
function sensitivityOf(tags: Record<string, unknown>): number | null {
  const short = positive(tags["ISO"]) ?? positive(tags["PhotographicSensitivity"]);
  if (short !== null && short < 65535) return short;
  return (
    positive(tags["RecommendedExposureIndex"]) ??
    positive(tags["StandardOutputSensitivity"]) ??
    positive(tags["ISOSpeed"]) ??
    short
  );
}
