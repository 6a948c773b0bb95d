import type { MonotonicMs } from "../units.ts";
import type { ExposureSettings } from "./settings.ts";

/** Stops above the target at some moments of the night, by rising time; linear in between. */
export type TwilightLift = readonly { readonly atMs: MonotonicMs; readonly stops: number }[];

/** Where a twilight's lift is whole and where it has gone, degrees of the Sun's altitude. */
const WHOLE_AT_DEG = -6;
const GONE_AT_DEG = -12;

/**
 * How far above the night's target a twilight sky should be, stops: all of the lift while the Sun
 * is higher than −6°, none from −12° on, smooth in between. A civil dusk at −2 stops looks like
 * day for night.
 *
 * @param liftStops  At −6°.
 * Common practice, no source: −1 at −6° against −2 at −12°.
 */
export function twilightLiftStops(sunAltitudeDeg: number, liftStops: number): number {
  const part = (sunAltitudeDeg - GONE_AT_DEG) / (WHOLE_AT_DEG - GONE_AT_DEG);
  const inside = Math.min(1, Math.max(0, part));
  return liftStops * inside * inside * (3 - 2 * inside);
}

/** The wanted brightness at a moment of the watch, stops from mid-grey. */
export function targetStopsAt(
  settings: {
    readonly exposure: Pick<ExposureSettings, "targetStops">;
    readonly twilightLift?: TwilightLift;
  },
  atMs: MonotonicMs,
): number {
  return settings.exposure.targetStops + liftAt(settings.twilightLift ?? [], atMs);
}

function liftAt(lift: TwilightLift, atMs: MonotonicMs): number {
  const next = lift.findIndex((point) => point.atMs > atMs);
  if (next < 0) return lift.at(-1)?.stops ?? 0;
  const [before, after] = [lift[next - 1], lift[next]!];
  if (before === undefined) return after.stops;
  const part = (atMs - before.atMs) / (after.atMs - before.atMs);
  return before.stops + part * (after.stops - before.stops);
}
