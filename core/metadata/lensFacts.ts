/** What a frame's Exif may say of lens and sensor, in the tags' own units; `null`: it does not. */
export type LensFacts = {
  readonly focalLengthMm: number | null;
  /** The lens in full-frame terms. */
  readonly fullFrameFocalLengthMm: number | null;
  /** Widest aperture of the lens, as an aperture value of APEX. */
  readonly maxApertureApex: number | null;
  /** Pixels of the full-size image per unit on the sensor. */
  readonly focalPlaneXResolution: number | null;
  readonly focalPlaneResolutionUnit: number | null;
  /** Width of the full-size image; an embedded preview may repeat it. */
  readonly imageWidthPx: number | null;
};

/** Micrometres of a unit of the focal plane's resolution. Source: Exif 2.32, tag A210 and TIFF 6.0. */
const UNIT_UM: Readonly<Record<number, number>> = { 2: 25_400, 3: 10_000 };

/** Pitches of sensors lie between these, µm. Common practice, no source. */
const PITCH_UM_MIN = 0.8;
const PITCH_UM_MAX = 30;

/** Widths of sensors behind a lens for photography, mm. Common practice, no source. */
const SENSOR_MM_MIN = 4;
const SENSOR_MM_MAX = 70;

/** Width of a full frame, by which equivalent focal lengths are given, mm. Source: Exif 2.32, tag A405. */
export const FULL_FRAME_WIDTH_MM = 36;

/** Size of a pixel on the sensor by the focal plane's resolution, µm; null: it is not given, or cannot be. */
export function pixelPitchUmOf(
  facts: Pick<LensFacts, "focalPlaneXResolution" | "focalPlaneResolutionUnit">,
): number | null {
  const { focalPlaneXResolution: resolution, focalPlaneResolutionUnit } = facts;
  const unitUm = UNIT_UM[focalPlaneResolutionUnit ?? 2];
  if (resolution === null || !(resolution > 0) || unitUm === undefined) return null;
  const pitchUm = unitUm / resolution;
  return pitchUm >= PITCH_UM_MIN && pitchUm <= PITCH_UM_MAX ? pitchUm : null;
}

/**
 * Width of the sensor as a frame's Exif tells it, mm: pixels of the image by the focal plane's
 * resolution, else by how the lens compares with its full-frame focal length (whole millimetres, so
 * to a few per cent for a short lens); null: it does not tell.
 */
export function sensorWidthMmOf(facts: LensFacts): number | null {
  return widthByPixels(facts) ?? widthByLens(facts);
}

/** A picture of fewer pixels with a pitch as small is a preview, whose Exif gives the preview's own width. Common practice, no source. */
const PREVIEW_PX_MAX = 2400;
const SENSOR_PITCH_UM_MAX = 10;

function widthByPixels(facts: LensFacts): number | null {
  const { imageWidthPx } = facts;
  const pitchUm = pixelPitchUmOf(facts);
  if (pitchUm === null || imageWidthPx === null) return null;
  if (imageWidthPx < PREVIEW_PX_MAX && pitchUm < SENSOR_PITCH_UM_MAX) return null;
  return believable((pitchUm * imageWidthPx) / 1000);
}

function widthByLens({ focalLengthMm, fullFrameFocalLengthMm }: LensFacts): number | null {
  if (focalLengthMm === null || fullFrameFocalLengthMm === null) return null;
  return believable((FULL_FRAME_WIDTH_MM * focalLengthMm) / fullFrameFocalLengthMm);
}

/** Width of the full-size image by the picture's own Exif; null: not given, or a preview's. */
export function fullSizeWidthPxOf({ imageWidthPx }: LensFacts): number | null {
  return imageWidthPx !== null && imageWidthPx >= PREVIEW_PX_MAX ? imageWidthPx : null;
}

function believable(widthMm: number): number | null {
  return widthMm >= SENSOR_MM_MIN && widthMm <= SENSOR_MM_MAX ? widthMm : null;
}
