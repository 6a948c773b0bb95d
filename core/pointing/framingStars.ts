import type { Optics } from "../photometry/optics.ts";
import { SIDEREAL_ARCSEC_PER_SECOND } from "../exposure/starTrail.ts";
import { cosDeg, RAD_PER_DEG, turnBetweenDeg, type SkyDirection } from "../sky/angles.ts";
import { directionOf } from "../sky/direction.ts";
import type { Place } from "../sky/place.ts";
import type { UtcMs } from "../units.ts";
import { pointingWords as words } from "../words/pointingWords.ts";
import { ovalCurve, ovalOver, type OvalOver } from "./ovalOver.ts";
import { rayAt } from "./lensModel.ts";
import { directionSeen, pointSeen, skyDirectionOf, type Pointing } from "./pointing.ts";
import { declinationOfDeg } from "../sky/angles.ts";
import { nextRise } from "../sky/riseAndSet.ts";

/** A point of the picture, 0..1 across and down. */
type FramePoint = { readonly x: number; readonly y: number };

/** Something that the sky will show at a point of the picture. */
type FrameMark =
  | ({ readonly kind: "magneticZenith" } & FramePoint)
  | ({ readonly kind: "moonrise" | "sunrise"; readonly utcMs: number } & FramePoint);

/** What a frame's stars tell the photographer. */
export type FramingStars =
  | { readonly kind: "unknown"; readonly sentence: string }
  | {
      readonly kind: "solved";
      readonly centre: SkyDirection;
      /** One deviation of it on the sphere, degrees. */
      readonly centreSigmaDeg: number;
      /** Falls to the right if positive. */
      readonly tiltDeg: number;
      readonly focalLengthMm: number;
      /** Degrees that a pixel of the preview covers on the axis. */
      readonly degPerPx: number;
      readonly starCount: number;
      /** Longest exposure in which no star of this frame trails by more than two full-size pixels. */
      readonly trailSecondsMax: number;
      /** "You point at 338° and 27° high; the oval stands 9° to the right." and what follows from it. */
      readonly sentences: readonly string[];
      readonly marks: readonly FrameMark[];
      /** The quiet oval's lower border across the picture, left to right; empty: not in it. */
      readonly oval: readonly FramePoint[];
    };

/** A trail of two pixels is still a point to the eye. Common practice, no source. */
const TRAIL_PX = 2;

/** A tilt of less is level. Common practice, no source. */
const LEVEL_WITHIN_DEG = 0.3;

/**
 * Says what a solved frame means while framing.
 *
 * @param optics  Sensor across the picture, and the full-size picture's width for the star trails.
 * Sources: the oval as in `ovalOver.ts`; rise as in `riseAndSet.ts`.
 */
export function framingStarsOf(options: {
  readonly pointing: Pointing;
  readonly place: Place;
  readonly utcMs: UtcMs;
  readonly optics: Pick<Optics, "acrossMm" | "fullWidthPx" | "isSensorKnown">;
}): FramingStars {
  const { pointing, place, utcMs, optics } = options;
  const { centre, pose, pxPerRad } = pointing;
  const oval = ovalOver(place, utcMs);
  const focalLengthMm = (pxPerRad / pose.lens.widthPx) * optics.acrossMm;
  const degPerPx = Math.atan(1 / pxPerRad) / RAD_PER_DEG;
  const trailSecondsMax = trailSeconds(pointing, place, optics.fullWidthPx);
  return {
    kind: "solved",
    centre,
    centreSigmaDeg: pointing.centreSigmaDeg,
    tiltDeg: pointing.tiltDeg,
    focalLengthMm,
    degPerPx,
    starCount: pointing.matches.length,
    trailSecondsMax,
    sentences: [
      `${words.pointing(centre.bearingDeg, centre.elevationDeg)}; ${ovalWords(oval, centre)}.`,
      ...(Math.abs(pointing.tiltDeg) > LEVEL_WITHIN_DEG ? [words.tilt(pointing.tiltDeg)] : []),
      words.lens({ focalLengthMm, degPerPx, ...optics }),
      words.trail(trailSecondsMax),
      words.proof(pointing.matches.length, pointing.centreSigmaDeg),
    ],
    marks: marksOf(pointing, { place, utcMs, oval }),
    oval: ovalCurve(oval).flatMap((direction) => inFrame(pointing, direction) ?? []),
  };
}

function ovalWords(oval: OvalOver, centre: SkyDirection): string {
  if (oval.side === "overhead") return words.ovalOverhead;
  if (oval.borderElevationDeg < 0) return words.ovalBelow;
  return words.ovalBeside(turnBetweenDeg(centre.bearingDeg, oval.bearingDeg));
}

function marksOf(
  pointing: Pointing,
  sky: { readonly place: Place; readonly utcMs: UtcMs; readonly oval: OvalOver },
): FrameMark[] {
  const marks: FrameMark[] = [];
  const zenith = inFrame(pointing, sky.oval.magneticZenith);
  if (zenith !== null) marks.push({ kind: "magneticZenith", ...zenith });
  for (const [kind, body] of [
    ["moonrise", "moon"],
    ["sunrise", "sun"],
  ] as const) {
    const rise = nextRise(body, sky.place, sky.utcMs);
    if (rise === null) continue;
    const point = inFrame(pointing, { bearingDeg: rise.azimuthDeg, elevationDeg: 0 });
    if (point !== null) marks.push({ kind, utcMs: rise.atMs, ...point });
  }
  return marks;
}

/** Where a direction of the sky lies in the picture; `null`: outside. */
function inFrame(
  { pose }: Pointing,
  { bearingDeg, elevationDeg }: SkyDirection,
): FramePoint | null {
  const point = pointSeen(pose, directionOf(bearingDeg, elevationDeg));
  if (point === null) return null;
  const [x, y] = [point[0] / pose.lens.widthPx, point[1] / pose.lens.heightPx];
  return x >= 0 && y >= 0 && x <= 1 && y <= 1 ? { x, y } : null;
}

/** Points across and down at which the drift of the stars is looked at. */
const GRID = 8;

/** The time in which the fastest star of the frame drifts by `TRAIL_PX` of the full-size picture. */
function trailSeconds(pointing: Pointing, place: Place, fullWidthPx: number): number {
  const { pose, pxPerRad } = pointing;
  const { lens } = pose;
  const fullPxPerRad = (pxPerRad * fullWidthPx) / lens.widthPx;
  let fastest = 0;
  for (let row = 0; row <= GRID; row += 1) {
    for (let column = 0; column <= GRID; column += 1) {
      const ray = rayAt(lens, (column / GRID) * lens.widthPx, (row / GRID) * lens.heightPx);
      const seen = skyDirectionOf(directionSeen(pose, ray));
      if (seen.elevationDeg < 0) continue;
      // Off the axis a rectilinear lens stretches the sky by 1 / cos along the circle about the axis
      // and by 1 / cos² along the radius; the middle of the two.
      const stretch = (1 + ray[0] ** 2 + ray[1] ** 2) ** 0.75;
      const drift = cosDeg(declinationOfDeg(seen, place.latitudeDeg)) * stretch;
      fastest = Math.max(fastest, drift);
    }
  }
  const pxPerSecond =
    (SIDEREAL_ARCSEC_PER_SECOND / 3600) * RAD_PER_DEG * fullPxPerRad * Math.max(0.01, fastest);
  return TRAIL_PX / pxPerSecond;
}
