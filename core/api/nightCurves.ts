import * as v from "valibot";

import type { FrameRecord } from "../watch/frameRecord.ts";

/**
 * A night's frames as columns of numbers: what the night strip draws, in a fraction of the bytes
 * that the frames themselves would take. Entry i of each list belongs to one frame.
 */
export type NightCurves = {
  readonly frameIndex: readonly number[];
  /** Camera of each frame, as an index into `cameraIds`. */
  readonly camera: readonly number[];
  readonly cameraIds: readonly string[];
  /** Opening of the shutter, UTC ms; null for a frame whose shutter never opened. */
  readonly openedUtcMs: readonly (number | null)[];
  /** What happened, or what was ordered while it is not known. */
  readonly exposureSeconds: readonly number[];
  readonly iso: readonly number[];
  /** null: no reading. */
  readonly skyLuminanceCdM2: readonly (number | null)[];
  /** Reading minus target, stops; null: no reading. */
  readonly fromTargetStops: readonly (number | null)[];
  /** Largest clipped share of the three channels, 0..1; null: no reading. */
  readonly clippedShare: readonly (number | null)[];
  /** True when the frame's file is on disk; a pruned frame has none any more. */
  readonly hasFile: readonly boolean[];
};

/** Schema of `NightCurves`. Source: the type above. */
export const nightCurvesSchema: v.GenericSchema<NightCurves> = v.object({
  frameIndex: v.array(v.number()),
  camera: v.array(v.number()),
  cameraIds: v.array(v.string()),
  openedUtcMs: v.array(v.nullable(v.number())),
  exposureSeconds: v.array(v.number()),
  iso: v.array(v.number()),
  skyLuminanceCdM2: v.array(v.nullable(v.number())),
  fromTargetStops: v.array(v.nullable(v.number())),
  clippedShare: v.array(v.nullable(v.number())),
  hasFile: v.array(v.boolean()),
});

/**
 * The columns of these frames, in the frames' own order. An empty night gives empty lists.
 * Numbers are rounded to five significant digits: a curve on a screen shows fewer.
 */
export function curvesOf(frames: readonly FrameRecord[]): NightCurves {
  const cameraIds = [...new Set(frames.map((frame) => frame.cameraId))];
  const exposures = frames.map((frame) => frame.happened ?? frame.ordered);
  return {
    frameIndex: frames.map((frame) => frame.frameIndex),
    camera: frames.map((frame) => cameraIds.indexOf(frame.cameraId)),
    cameraIds,
    openedUtcMs: frames.map((frame) => frame.openedUtcMs),
    exposureSeconds: exposures.map((exposure) => fiveDigits(exposure.exposureSeconds)),
    iso: exposures.map((exposure) => fiveDigits(exposure.iso)),
    skyLuminanceCdM2: frames.map(({ reading }) =>
      reading === null ? null : fiveDigits(reading.skyLuminanceCdM2),
    ),
    fromTargetStops: frames.map(({ reading, targetStops }) =>
      reading === null ? null : fiveDigits(reading.skyStops - targetStops),
    ),
    clippedShare: frames.map(({ reading }) =>
      reading === null
        ? null
        : fiveDigits(
            Math.max(
              reading.clippedShare.red,
              reading.clippedShare.green,
              reading.clippedShare.blue,
            ),
          ),
    ),
    hasFile: frames.map((frame) => frame.file !== null && frame.status !== "missing"),
  };
}

function fiveDigits(value: number): number {
  return Number(value.toPrecision(5));
}
