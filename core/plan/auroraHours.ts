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
  /** The Kp hangs on what the fitted oval knows poorly: its poleward edge, or its day side. */
  readonly isDoubtful: boolean;
};

const HOUR_MS = 3_600_000;

/**
 * The place nearer than this to the fitted poleward edge may as well lie beyond it, degrees. The fit's
 * edge wanders by as much from one Kp to the next where the paper's data show no such thing.
 */
const EDGE_DOUBT_DEG = 1;

/**
 * Hour by hour through the watch, the Kp that brings the aurora near enough: its equatorward boundary
 * for a place below it, its poleward edge for a place above it. The oval is nearest about magnetic
 * midnight; in the polar night it is watched by magnetic day too, when it stands far poleward.
 *
 * A place between both edges on the quietest night has Kp 0; one that lies poleward of the oval at
 * every Kp, on the polar cap, has none.
 * Sources: Gussenhoven, Hardy and Heinemann 1983 for the equatorward boundary from 18 to 4 h of magnetic
 * local time, by day Starkov 1994; Starkov 1994 for the poleward edge, fitted up to Kp 7; plain geometry.
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
    const smallest = (isEnough: (distanceKm: number) => boolean): number | null =>
      KP_STEPS.find((kp) => isEnough(awayDeg(latitude, edgesOf(kp, mlt)) * KM_PER_DEG)) ?? null;
    const kpForTops = smallest((km) => elevationOverDeg(km, TOP_HEIGHT_KM) > 0);
    const kpForOverhead = smallest((km) => km === 0);
    const kpFirst = kpForOverhead ?? kpForTops;
    hours.push({
      time: isoOf(atMs),
      magneticLocalTimeHours: mlt,
      kpForTops,
      kpForBorder: smallest((km) => elevationOverDeg(km, BORDER_HEIGHT_KM) > 0),
      kpForOverhead,
      isDoubtful: kpFirst !== null && isDoubtful(latitude, edgesOf(kpFirst, mlt)),
    });
  }
  return hours;
}

const KP_STEPS = Array.from({ length: 28 }, (_, thirds) => thirds / 3);

/** Where the aurora begins and ends at one Kp and magnetic hour, degrees. */
type Edges = {
  readonly equatorwardDeg: number;
  readonly polewardDeg: number;
  readonly isByDay: boolean;
};

function edgesOf(kp: number, mltHours: number): Edges {
  const oval = ovalEdges(kp, mltHours);
  const diffuse = diffuseBoundaryDeg(kp, mltHours);
  const equatorwardDeg = diffuse ?? oval.equatorwardDeg;
  const polewardDeg = Math.max(equatorwardDeg, oval.polewardDeg);
  return { equatorwardDeg, polewardDeg, isByDay: diffuse === null };
}

/** Degrees to the nearer edge; 0 under the oval. */
function awayDeg(latitude: number, { equatorwardDeg, polewardDeg }: Edges): number {
  return Math.max(0, equatorwardDeg - latitude, latitude - polewardDeg);
}

function isDoubtful(latitude: number, { polewardDeg, isByDay }: Edges): boolean {
  return isByDay || latitude > polewardDeg - EDGE_DOUBT_DEG;
}
