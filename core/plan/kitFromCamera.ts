import { FULL_FRAME_WIDTH_MM, pixelPitchUmOf, type LensFacts } from "../metadata/lensFacts.ts";
import { SENSOR_SIZES_MM, type KitInput, type SensorClass } from "./kit.ts";

/** What of a kit a connected camera may tell; empty or `null`: it does not. */
export type CameraKitFacts = {
  /** f-numbers that can be set, any order. */
  readonly fNumberLadder: readonly number[];
  readonly focalLengthMm: number | null;
  /** Of the largest image that the camera is set to. */
  readonly imageWidthPx: number | null;
  readonly freeBytes: number | null;
};

/** A kit with the camera's word in it, and which of its fields that concerns. */
export type ReportedKit = {
  readonly input: KitInput;
  readonly reported: readonly (keyof KitInput)[];
};

/**
 * A kit in which what the camera and one of its frames tell replaces what was typed: the sensor's
 * class, the pixel pitch (or the image's width, from which it follows), the focal length, the
 * widest aperture, the room on the card. The camera's own word counts before the frame's. Values
 * that make no sense, as a focal length of 0 of a lens without contacts, are passed over.
 *
 * @param frame  `null`: no frame has been taken yet.
 */
export function kitFromCamera(
  input: KitInput,
  camera: CameraKitFacts,
  frame: LensFacts | null = null,
): ReportedKit {
  const widest = Math.min(...camera.fNumberLadder.filter((fNumber) => fNumber > 0));
  const reported = withoutNull<KitInput>({
    sensorClass: sensorClassOf(frame),
    fNumberWidest: Number.isFinite(widest) ? widest : apertureOf(frame),
    focalLengthMm: positive(camera.focalLengthMm) ?? positive(frame?.focalLengthMm),
    cardBytes: positive(camera.freeBytes),
    ...pixelsOf(camera, frame),
  });
  // The image's width and the pitch are two ways to say one thing: only one of them may stand.
  const isSized = reported.pixelPitchUm !== undefined || reported.imageWidthPx !== undefined;
  const typed = isSized ? { ...input, pixelPitchUm: undefined, imageWidthPx: undefined } : input;
  return {
    input: { ...typed, ...reported },
    reported: Object.keys(reported) as (keyof KitInput)[],
  };
}

function pixelsOf(camera: CameraKitFacts, frame: LensFacts | null) {
  const pixelPitchUm = pixelPitchOf(frame);
  return pixelPitchUm === null ? { imageWidthPx: positive(camera.imageWidthPx) } : { pixelPitchUm };
}

function pixelPitchOf(frame: LensFacts | null): number | null {
  const pitchUm = frame === null ? null : pixelPitchUmOf(frame);
  return pitchUm === null ? null : Number(pitchUm.toFixed(2));
}

/** A lens tells its full-frame focal length in whole millimetres: a short one fits no class better than this. */
const CLASS_RATIO_MAX = 1.15;

function sensorClassOf(frame: LensFacts | null): SensorClass | null {
  const real = positive(frame?.focalLengthMm);
  const inFullFrame = positive(frame?.fullFrameFocalLengthMm);
  if (real === null || inFullFrame === null) return null;
  const misfits = Object.entries(SENSOR_SIZES_MM).map(([sensorClass, [widthMm]]) => ({
    sensorClass: sensorClass as SensorClass,
    misfit: Math.abs(Math.log(inFullFrame / real / (FULL_FRAME_WIDTH_MM / widthMm))),
  }));
  const best = misfits.reduce((one, other) => (other.misfit < one.misfit ? other : one));
  return best.misfit <= Math.log(CLASS_RATIO_MAX) ? best.sensorClass : null;
}

/** Source: APEX, A = 2 log2 N (Exif 2.32, annex C). */
function apertureOf(frame: LensFacts | null): number | null {
  const apex = positive(frame?.maxApertureApex);
  return apex === null ? null : Math.round(10 * 2 ** (apex / 2)) / 10;
}

function positive(value: number | null | undefined): number | null {
  return value !== null && value !== undefined && value > 0 ? value : null;
}

function withoutNull<T extends object>(fields: Readonly<Record<string, unknown>>): Partial<T> {
  return Object.fromEntries(
    Object.entries(fields).filter(([, value]) => value !== null),
  ) as Partial<T>;
}
