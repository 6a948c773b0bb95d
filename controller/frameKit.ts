import exifr from "exifr";

import type { LensFacts } from "../core/metadata/lensFacts.ts";

/** Exif tags that describe sensor and lens. Source: Exif 2.32 (CIPA DC-008). */
const TAGS = [
  "FocalLength",
  "FocalLengthIn35mmFormat",
  "FocalPlaneXResolution",
  "FocalPlaneResolutionUnit",
  "MaxApertureValue",
  "ExifImageWidth",
];

/** What a frame's Exif says of the kit; an image without any, or with a broken one, says nothing. */
export async function frameKitOf(image: Uint8Array): Promise<LensFacts> {
  const tags = await tagsOf(image);
  const number = (name: string): number | null => {
    const value = tags[name];
    return typeof value === "number" && Number.isFinite(value) && value > 0 ? value : null;
  };
  return {
    focalLengthMm: number("FocalLength"),
    fullFrameFocalLengthMm: number("FocalLengthIn35mmFormat"),
    maxApertureApex: number("MaxApertureValue"),
    focalPlaneXResolution: number("FocalPlaneXResolution"),
    focalPlaneResolutionUnit: number("FocalPlaneResolutionUnit"),
    imageWidthPx: number("ExifImageWidth"),
  };
}

async function tagsOf(image: Uint8Array): Promise<Readonly<Record<string, unknown>>> {
  const how = { pick: TAGS, reviveValues: false, translateValues: false };
  try {
    const tags = (await exifr.parse(image, how)) as Record<string, unknown> | undefined;
    return tags ?? {};
  } catch {
    // Exif is a courtesy of the camera; the kit can be typed.
    return {};
  }
}
