import { RAD_PER_DEG } from "../sky/angles.ts";

/** Where a camera looked and through what. */
export type Framing = {
  /** Altitude of the picture's middle above the horizon. */
  readonly altitudeDeg: number;
  /** Azimuth of the picture's middle, from true north through east; null: not known. */
  readonly azimuthDeg: number | null;
  readonly focalLengthMm: number;
  /** Height of the whole picture on the sensor, mm. */
  readonly pictureHeightMm: number;
};

/** A mark on an axis: where (0..1 along it) and what it says. */
type AxisMark = { readonly at: number; readonly label: string };

/** Height in the middle column (0 top, 1 bottom) of an altitude; null: outside the picture. */
export function shareOfAltitude(framing: Framing, altitudeDeg: number): number | null {
  const angle = (altitudeDeg - framing.altitudeDeg) * RAD_PER_DEG;
  if (Math.abs(angle) >= Math.PI / 2) return null;
  const share = 0.5 - (Math.tan(angle) * framing.focalLengthMm) / framing.pictureHeightMm;
  return share >= 0 && share <= 1 ? share : null;
}

/** Marks every ten degrees that are in the picture; 0 is its top, as in the picture. */
export function altitudeMarks(framing: Framing): readonly AxisMark[] {
  const marks: AxisMark[] = [];
  for (let altitudeDeg = -30; altitudeDeg <= 90; altitudeDeg += 10) {
    const at = shareOfAltitude(framing, altitudeDeg);
    if (at !== null) marks.push({ at, label: `${altitudeDeg}°` });
  }
  return marks;
}

/** Steps between time marks, seconds. */
const TIME_STEPS_SECONDS = [5, 10, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 10_800];

/**
 * Marks of Universal Time from left to right, at most `countMax`, on whole steps.
 *
 * Zero length gives one mark.
 */
export function timeMarks(
  startUtcMs: number,
  endUtcMs: number,
  countMax: number,
): readonly AxisMark[] {
  const spanMs = Math.max(1, endUtcMs - startUtcMs);
  const stepSeconds =
    TIME_STEPS_SECONDS.find((seconds) => spanMs / (seconds * 1000) <= countMax) ?? 21_600;
  const stepMs = stepSeconds * 1000;
  const labelEnd = stepSeconds < 60 ? 19 : 16;
  const marks: AxisMark[] = [];
  for (let at = Math.ceil(startUtcMs / stepMs) * stepMs; at <= endUtcMs; at += stepMs) {
    const label = new Date(at).toISOString().slice(11, labelEnd);
    marks.push({ at: (at - startUtcMs) / spanMs, label });
  }
  return marks;
}
