import type { UtcMs } from "../units.ts";

/** A stretch of the night in which the activity rose sharply; open while `endUtcMs` is null. */
export type SurgeNotice = {
  readonly startUtcMs: UtcMs;
  readonly endUtcMs: UtcMs | null;
  /** Rise of the sky over the quiet before, stops. */
  readonly riseStops: number;
};

/** A stretch without frames that was longer than the cadence explains. */
export type GapNotice = {
  readonly startUtcMs: UtcMs;
  readonly endUtcMs: UtcMs | null;
  readonly why: string;
};
