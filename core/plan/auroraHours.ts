import {
  BORDER_HEIGHT_KM,
  elevationOverDeg,
  KM_PER_DEG,
  TOP_HEIGHT_KM,
} from "../sky/auroraGeometry.ts";
import { isoOf } from "../sky/calendarDate.ts";
import { diffuseBoundaryDeg, ovalEdges } from "../sky/kpBoundary.ts";
import type { MagneticField } from "../sky/magneticField.ts";
import { magneticLocalTimeHours } from "../sky/magneticTime.ts";

/** What Kp an hour of the watch takes; in thirds, `null`: no Kp does, or the hour has no published row. */
export type AuroraHour = {
  readonly time: string;
  readonly magneticLocalTimeHours: number;
  /** Smallest Kp that brings the tops of tall rays, the lower border, and the oval itself overhead. */
  readonly kpForTops: number | null;
  readonly kpForBorder: number | null;
  readonly kpForOverhead: number | null;
};

const HOUR_MS = 3_600_000;

/**
 * Hour by hour through the watch, the Kp that brings the aurora near enough: its equatorward boundary
 * for a place below it, its poleward edge for a place above it. The oval is nearest about magnetic
 * midnight.
 *
 * A place between both edges on the quietest night has Kp 0; one that lies poleward of the oval at
 * every Kp, on the polar cap, has none.
 * Sources: Gussenhoven, Hardy and Heinemann 1983 for the equatorward boundary by magnetic local time;
 * Starkov 1994 for the poleward edge, fitted up to Kp 7; plain geometry.
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
        const { polewardDeg } = ovalEdges(thirds / 3, mlt);
        const awayDeg = Math.max(
          0,
          boundary - latitude,
          latitude - Math.max(boundary, polewardDeg),
        );
        if (isEnough(awayDeg * KM_PER_DEG)) return thirds / 3;
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
