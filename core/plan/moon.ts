import { atan2Deg, cosDeg, sinDeg, turnDeg, type SkyDirection } from "../sky/angles.ts";
import type { Kit } from "./kit.ts";
import type { PlanSample } from "./samples.ts";

/** Where the Moon stands during a watch. */
export type MoonCourse = {
  /** Its highest stand during the watch; `null`: below the horizon throughout. */
  readonly highest: {
    readonly time: string;
    readonly altitudeDeg: number;
    readonly azimuthDeg: number;
  } | null;
  /** Stretches with the Moon within the frame, to a sample's ten minutes; empty: never. */
  readonly inFrame: readonly InFrame[];
};

/** From one sample to another, both with the Moon in the frame; the same twice for a short visit. */
type InFrame = { readonly from: string; readonly to: string };

/**
 * @param samples  Those of the watch.
 * @param centre  Where the frame's middle points.
 */
export function moonCourse(
  samples: readonly PlanSample[],
  framing: { readonly kit: Kit; readonly centre: SkyDirection },
): MoonCourse {
  const up = samples.filter(({ moonAltitudeDeg }) => moonAltitudeDeg > 0);
  const highest = up.reduce<PlanSample | null>(
    (best, sample) =>
      best === null || sample.moonAltitudeDeg > best.moonAltitudeDeg ? sample : best,
    null,
  );
  return {
    highest:
      highest === null
        ? null
        : {
            time: highest.time,
            altitudeDeg: highest.moonAltitudeDeg,
            azimuthDeg: highest.moonAzimuthDeg,
          },
    inFrame: inFrameStretches(samples, framing),
  };
}

/** A Moon that leaves the frame and comes back, as in a watch of 24 hours, is in it twice. */
function inFrameStretches(
  samples: readonly PlanSample[],
  framing: { readonly kit: Kit; readonly centre: SkyDirection },
): readonly InFrame[] {
  const stretches: { from: string; to: string }[] = [];
  let open: { from: string; to: string } | null = null;
  for (const { time, moonAltitudeDeg, moonAzimuthDeg } of samples) {
    const moon = { bearingDeg: moonAzimuthDeg, elevationDeg: moonAltitudeDeg };
    if (moonAltitudeDeg <= 0 || !isInFrame(moon, framing)) open = null;
    else if (open !== null) open.to = time;
    else stretches.push((open = { from: time, to: time }));
  }
  return stretches;
}

/** Rows and columns of directions that stand for a frame; fewer miss a Moon's glow in a corner. */
const FRAME_GRID = 9;

/** Directions spread evenly over a frame, those above the horizon. Plane geometry. */
export function framedDirections({
  kit,
  centre,
}: {
  readonly kit: Kit;
  readonly centre: SkyDirection;
}): readonly SkyDirection[] {
  const { bearingDeg: az, elevationDeg: el } = centre;
  const steps = Array.from({ length: FRAME_GRID }, (_, n) => (n + 0.5) / FRAME_GRID - 0.5);
  return steps.flatMap((row) =>
    steps.flatMap((column) => {
      const right = (column * kit.sensorWidthMm) / kit.focalLengthMm;
      const up = (row * kit.sensorHeightMm) / kit.focalLengthMm;
      const ahead = cosDeg(el) - up * sinDeg(el);
      const elevationDeg = atan2Deg(sinDeg(el) + up * cosDeg(el), Math.hypot(right, ahead));
      if (elevationDeg < 0) return [];
      return [{ bearingDeg: turnDeg(az + atan2Deg(right, ahead)), elevationDeg }];
    }),
  );
}

/** Whether a point of the sky falls onto the sensor through a rectilinear lens. Plane geometry. */
export function isInFrame(
  point: SkyDirection,
  { kit, centre }: { readonly kit: Kit; readonly centre: SkyDirection },
): boolean {
  const turn = point.bearingDeg - centre.bearingDeg;
  const ahead =
    cosDeg(point.elevationDeg) * cosDeg(turn) * cosDeg(centre.elevationDeg) +
    sinDeg(point.elevationDeg) * sinDeg(centre.elevationDeg);
  if (ahead <= 0) return false;
  const right = cosDeg(point.elevationDeg) * sinDeg(turn);
  const up =
    sinDeg(point.elevationDeg) * cosDeg(centre.elevationDeg) -
    cosDeg(point.elevationDeg) * cosDeg(turn) * sinDeg(centre.elevationDeg);
  return (
    Math.abs((right / ahead) * kit.focalLengthMm) <= kit.sensorWidthMm / 2 &&
    Math.abs((up / ahead) * kit.focalLengthMm) <= kit.sensorHeightMm / 2
  );
}
