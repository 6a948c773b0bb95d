import {
  BORDER_HEIGHT_KM,
  elevationOverDeg,
  KM_PER_DEG,
  TOP_HEIGHT_KM,
} from "../sky/auroraGeometry.ts";
import { isoOf } from "../sky/calendarDate.ts";
import { diffuseBoundaryDeg } from "../sky/kpBoundary.ts";
import type { MagneticField } from "../sky/magneticField.ts";
import { magneticLocalTimeHours } from "../sky/magneticTime.ts";

/** What Kp an hour of the watch takes; in thirds, `null`: no Kp does, or the hour has no published row. */
export type AuroraHour = {
  readonly time: string;
  readonly magneticLocalTimeHours: number;
  /** Smallest Kp that brings the tops of tall rays, the lower border, and the oval's edge here. */
  readonly kpForTops: number | null;
  readonly kpForBorder: number | null;
  readonly kpForOverhead: number | null;
};

const HOUR_MS = 3_600_000;

/**
 * Hour by hour through the watch, the Kp that brings the diffuse aurora's equatorward boundary near
 * enough. The oval is nearest about magnetic midnight.
 *
 * For a place poleward of the boundary at every Kp the aurora is already there, and the Kp is 0.
 * Source: Gussenhoven, Hardy and Heinemann 1983 by magnetic local time, and plain geometry.
 */
export function auroraHours(options: {
  readonly startMs: number;
  readonly endMs: number;
  readonly correctedLatitudeDeg: number;
  readonly correctedLongitudeDeg: number;
  readonly field: MagneticField;
}): readonly AuroraHour[] {
  const { startMs, endMs, correctedLongitudeDeg, field } = options;
  const latitude = Math.abs(options.correctedLatitudeDeg);
  const hours: AuroraHour[] = [];
  for (let atMs = Math.ceil(startMs / HOUR_MS) * HOUR_MS; atMs <= endMs; atMs += HOUR_MS) {
    const mlt = magneticLocalTimeHours(atMs, correctedLongitudeDeg, field);
    const smallest = (isEnough: (distanceKm: number) => boolean): number | null => {
      for (let thirds = 0; thirds <= 27; thirds += 1) {
        const boundary = diffuseBoundaryDeg(thirds / 3, mlt);
        if (boundary === null) return null;
        if (isEnough(Math.max(0, boundary - latitude) * KM_PER_DEG)) return thirds / 3;
      }
      return null;
    };
    hours.push({
      time: isoOf(atMs),
      magneticLocalTimeHours: mlt,
      kpForTops: smallest((km) => elevationOverDeg(km, TOP_HEIGHT_KM) > 0),
      kpForBorder: smallest((km) => elevationOverDeg(km, BORDER_HEIGHT_KM) > 0),
      kpForOverhead: smallest((km) => km === 0),
    });
  }
  return hours;
}
