import { SIDEREAL_ARCSEC_PER_SECOND } from "../exposure/starTrail.ts";
import type { MonotonicMs } from "../units.ts";
import type { MeasuredStar } from "./starWidth.ts";

/** Points of light that do not move with the stars: pixels of the sensor that glow by themselves. */
export type HotPixelEvidence = {
  readonly sightings: readonly Sighting[];
};

type Sighting = {
  readonly x: number;
  readonly y: number;
  readonly count: number;
  readonly sinceMs: MonotonicMs;
  readonly lastMs: MonotonicMs;
};

/** Before the first frame: no pixel has been seen to glow. */
export const NO_HOT_PIXELS: HotPixelEvidence = { sightings: [] };

/** A hot pixel has been seen at its place so often... */
const SIGHTINGS_MIN = 5;
/** ...while a star at the equator would have gone so many pixels. */
const DRIFT_PX_MIN = 2;
/** A star's centre wanders less than this from frame to frame by noise alone. */
const SAME_PLACE_PX = 0.6;
const SIGHTINGS_MAX = 600;
/** A place where nothing was seen for so long is forgotten. */
const FORGET_MS = 600_000;

/** Adds the points of one frame to the evidence. */
export function learnHotPixels(
  evidence: HotPixelEvidence,
  stars: readonly MeasuredStar[],
  atMs: MonotonicMs,
): HotPixelEvidence {
  const left = evidence.sightings.filter((sighting) => atMs - sighting.lastMs < FORGET_MS);
  const fresh: Sighting[] = [];
  for (const { x, y } of stars) {
    const index = left.findIndex(
      (sighting) => Math.hypot(sighting.x - x, sighting.y - y) < SAME_PLACE_PX,
    );
    if (index < 0) {
      fresh.push({ x, y, count: 1, sinceMs: atMs, lastMs: atMs });
    } else {
      const known = left[index]!;
      // The place stays where it was first seen: a slow star must not drag it along.
      left[index] = { ...known, count: known.count + 1, lastMs: atMs };
    }
  }
  return { sightings: [...left, ...fresh].slice(-SIGHTINGS_MAX) };
}

/** The pixels (y · width + x, and their neighbours) that have proved hot. @param degPerPx  On the axis. */
export function hotPixelsOf(
  evidence: HotPixelEvidence,
  widthPx: number,
  degPerPx: number,
): ReadonlySet<number> {
  const degPerMs = SIDEREAL_ARCSEC_PER_SECOND / 3600 / 1000;
  const hot = new Set<number>();
  for (const { x, y, count, sinceMs, lastMs } of evidence.sightings) {
    const driftPx = ((lastMs - sinceMs) * degPerMs) / degPerPx;
    if (count < SIGHTINGS_MIN || driftPx < DRIFT_PX_MIN) continue;
    for (let dy = -1; dy <= 1; dy += 1) {
      for (let dx = -1; dx <= 1; dx += 1) {
        hot.add((Math.round(y) + dy) * widthPx + Math.round(x) + dx);
      }
    }
  }
  return hot;
}
