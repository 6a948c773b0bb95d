import { NightError } from "../errors.ts";
import type { Exposure } from "../exposure/exposure.ts";
import { bendForHighlights } from "./bendForHighlights.ts";
import { fitStepResponse } from "./stepResponse.ts";
import { localScatter } from "./localScatter.ts";
import { smoothExposure } from "./smoothExposure.ts";

/** What deflickering needs of one frame. */
export type DeflickerFrame = {
  /** Middle of the exposure, seconds on any clock; rising. */
  readonly atSeconds: number;
  /** The exposure that happened. */
  readonly exposure: Exposure;
  /**
   * log2 of the mean linear light of each cell of the picture, in one order and one number for all
   * frames of a set; NaN: too dark, or clipped.
   */
  readonly cellStops: readonly number[];
  /** By how much the frame may be lifted until its highlights roll off, stops, ≥ 0. */
  readonly highlightRoomStops: number;
};

/** By how much one frame's linear light is multiplied, in stops, and what each part is for. */
export type FrameCorrection = {
  /** The sum of the three. */
  readonly totalStops: number;
  /** From the exposure taken to the smooth exposure that the film follows. */
  readonly followStops: number;
  /** Against the camera's tone and gain not being what its numbers say. */
  readonly responseStops: number;
  /** Against this frame's own scatter of shutter and aperture. */
  readonly scatterStops: number;
};

type DeflickerSettings = {
  /** Time constant with which the film's own exposure follows the night's, seconds of the night. */
  readonly sigmaSeconds: number;
  /** How far a frame may be lifted or lowered to follow the film's exposure, stops. */
  readonly awayStopsMax: number;
};

/**
 * Twenty minutes: of a surge of half a minute which the governor took out of the exposure, the film
 * gets 99 % back, of one of two minutes 96 %. Four stops: a surge of that size which is over again within minutes
 * stays one; what would have to be lifted further is dark on purpose, or of another scene.
 */
export const DEFAULT_DEFLICKER: DeflickerSettings = { sigmaSeconds: 1200, awayStopsMax: 4 };

/**
 * Corrections that take out what the camera caused and keep what the sky caused.
 *
 * Each frame's brightness is y = sky + exposure + camera, in stops. The exposure is known, so its
 * steps are taken out exactly and the film follows a smooth way through them (`smoothExposure`),
 * slowly enough that a surge which the governor answered is a surge again. What remains beside sky
 * is the camera's: gains and tones that are not what their numbers say, found from all of the
 * night's steps together (`fitStepResponse`), and the scatter of single frames (`localScatter`).
 * Scatter multiplies the whole picture alike, aurora brightens part of it; so scatter is what all
 * quiet cells of the picture do at once, for a frame or two.
 *
 * Where a frame's highlights could not be lifted so far, the course bends (`bendForHighlights`).
 *
 * The corrected brightness of the film is the recorded one with the exposure made smooth:
 * sky + smooth exposure. No frame's own mean is pulled towards its neighbours' mean.
 *
 * @param frames  Of one frame set, in order. Zero, one or two frames are no error.
 * @throws NightError `quantity.out_of_range` when frames differ in their number of cells.
 */
export function deflicker(
  frames: readonly DeflickerFrame[],
  settings: DeflickerSettings = DEFAULT_DEFLICKER,
): readonly FrameCorrection[] {
  const cellCount = frames[0]?.cellStops.length ?? 0;
  if (frames.some((frame) => frame.cellStops.length !== cellCount)) {
    throw new NightError("quantity.out_of_range", "All frames of a set need the same cells.");
  }
  const seconds = frames.map((frame) => frame.atSeconds);
  const exposureStops = frames.map(({ exposure }) => relativeStops(exposure));
  // Cell by cell, brightness with the known exposure taken out: what is left is sky and camera.
  const cells = Array.from({ length: cellCount }, (_, k) =>
    Float64Array.from(frames, (frame, i) => frame.cellStops[k]! - exposureStops[i]!),
  );
  const response = fitStepResponse(cells, exposureStops, isoOf(frames));
  for (const cell of cells) {
    for (let i = 0; i < cell.length; i += 1) cell[i]! -= response[i]!;
  }
  const scatter = localScatter(cells, seconds);
  const course = smoothExposure(exposureStops, seconds, settings);
  // A frame that is lowered needs no room: only lifting lets highlights roll off.
  const limits = frames.map((frame, i) => exposureStops[i]! + frame.highlightRoomStops);
  const smooth = bendForHighlights(course, limits, seconds).map((stops, i) =>
    Math.max(stops, exposureStops[i]! - settings.awayStopsMax),
  );
  return frames.map((_, i) => {
    const followStops = smooth[i]! - exposureStops[i]!;
    const responseStops = -response[i]!;
    const scatterStops = -scatter[i]!;
    const totalStops = followStops + responseStops + scatterStops;
    return { totalStops, followStops, responseStops, scatterStops };
  });
}

/** log2 of what reaches the file from the same scene, apart from a constant. */
function relativeStops({ exposureSeconds, iso, fNumber }: Exposure): number {
  return Math.log2((exposureSeconds * iso) / fNumber ** 2);
}

function isoOf(frames: readonly DeflickerFrame[]): number[] {
  return frames.map((frame) => frame.exposure.iso);
}
