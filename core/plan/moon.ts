import { cosDeg, sinDeg, type SkyDirection } from "../sky/angles.ts";
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
  /** First and last sample with the Moon within the frame; `null`: never. */
  readonly inFrame: { readonly from: string; readonly to: string } | null;
};

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
  const framed = up.filter((sample) =>
    isInFrame({ bearingDeg: sample.moonAzimuthDeg, elevationDeg: sample.moonAltitudeDeg }, framing),
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
    inFrame: framed.length === 0 ? null : { from: framed[0]!.time, to: framed.at(-1)!.time },
  };
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
