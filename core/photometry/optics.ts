import {
  FULL_FRAME_WIDTH_MM,
  fullSizeWidthPxOf,
  sensorWidthMmOf,
  type LensFacts,
} from "../metadata/lensFacts.ts";
import { opticsWords } from "../words/opticsWords.ts";

/** What the photographer said of lens and sensor; null: nothing. */
export type GivenOptics = {
  /** The lens's own, not its full-frame equivalent. */
  readonly focalLengthMm: number;
  readonly sensorWidthMm: number | null;
  readonly pixelPitchUm: number | null;
};

/** What a picture is, and what its Exif tells. */
export type PictureFacts = LensFacts & {
  readonly uprightWidthPx: number;
  readonly uprightHeightPx: number;
};

/** The geometry by which angles and pixels are counted. */
export type Optics = {
  readonly focalLengthMm: number;
  /** Of the side that lies across the upright picture. */
  readonly acrossMm: number;
  /** Of the full-size frame. */
  readonly pixelPitchUm: number;
  /** Pixels of the full-size frame across the upright picture. */
  readonly fullWidthPx: number;
  /** False: the sensor's width was neither given nor reported, and a full frame stands in for it. */
  readonly isSensorKnown: boolean;
  /** False: a usual frame's pixels stand in for those of the camera's. */
  readonly isPixelCountKnown: boolean;
  /** What the photographer should know of it, in words. */
  readonly remarks: readonly string[];
};

/** Pixels across a frame of which nobody says how many there are. Common practice, no source. */
const USUAL_WIDTH_PX = 6000;
/** Two lengths are the same when they differ by less: whole millimetres, bodies of one class. */
const SAME_WITHIN = 1.08;

/**
 * Lens and sensor as they are known: the sensor's width from the kit, else from the picture's Exif,
 * else from the image's width with the kit's pitch; else a full frame stands in, and the remarks say
 * so. The picture's own word on the focal length counts before what was given, which may be another
 * lens's or an equivalent.
 *
 * @param reportedWidthPx  Of the full-size image, as the camera reports it; null: it does not.
 */
export function opticsOf(
  given: GivenOptics,
  picture: PictureFacts,
  reportedWidthPx: number | null,
): Optics {
  const { sensorWidthMm: givenMm, pixelPitchUm: pitchUm } = given;
  const { uprightWidthPx, uprightHeightPx } = picture;
  const sizePx = reportedWidthPx ?? fullSizeWidthPxOf(picture);
  const inPictureMm = sensorWidthMmOf(picture);
  const byPixelsMm = sizePx !== null && pitchUm !== null ? (sizePx * pitchUm) / 1000 : null;
  const widthMm = givenMm ?? inPictureMm ?? byPixelsMm;
  const sensorMm = widthMm ?? FULL_FRAME_WIDTH_MM;
  const byPitchPx = pitchUm === null ? null : (sensorMm * 1000) / pitchUm;
  const knownPx = sizePx ?? byPitchPx ?? picture.imageWidthPx;
  const longSidePx = knownPx ?? USUAL_WIDTH_PX;
  // A sensor's width is its long side; a picture taken upright shows its short one across.
  const across = Math.min(1, uprightWidthPx / uprightHeightPx);
  const lens = lensOf(given, picture);
  return {
    focalLengthMm: lens.focalLengthMm,
    acrossMm: sensorMm * across,
    pixelPitchUm: (sensorMm * 1000) / longSidePx,
    fullWidthPx: Math.round(longSidePx * across),
    isSensorKnown: widthMm !== null,
    isPixelCountKnown: knownPx !== null,
    remarks: [
      ...(widthMm === null ? [opticsWords.sensorUnknown] : []),
      ...(givenMm !== null && inPictureMm !== null && !isSame(givenMm, inPictureMm)
        ? [opticsWords.otherSensor(givenMm, inPictureMm)]
        : []),
      ...(knownPx === null ? [opticsWords.pixelsUnknown(USUAL_WIDTH_PX)] : []),
      ...lens.remarks,
    ],
  };
}

/** Whether a focal length is the lens's own or its full-frame equivalent is decided by the picture. */
function lensOf(given: GivenOptics, { focalLengthMm: real, fullFrameFocalLengthMm }: PictureFacts) {
  if (real === null || isSame(real, given.focalLengthMm)) {
    return { focalLengthMm: real ?? given.focalLengthMm, remarks: [] };
  }
  const isEquivalent =
    fullFrameFocalLengthMm !== null && isSame(fullFrameFocalLengthMm, given.focalLengthMm);
  const words = isEquivalent ? opticsWords.equivalent : opticsWords.otherLens;
  return { focalLengthMm: real, remarks: [words(given.focalLengthMm, real)] };
}

function isSame(oneMm: number, otherMm: number): boolean {
  return Math.max(oneMm, otherMm) / Math.min(oneMm, otherMm) < SAME_WITHIN;
}
