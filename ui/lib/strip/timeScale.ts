import type { Stretch } from "./stretch.ts";

/** The one time axis of the night strip: keogram, curves and marks share it. */
export type TimeScale = {
  readonly startUtcMs: number;
  readonly endUtcMs: number;
  readonly widthPx: number;
  readonly xOf: (utcMs: number) => number;
  readonly utcOf: (x: number) => number;
};

export function timeScale(options: {
  startUtcMs: number;
  endUtcMs: number;
  widthPx: number;
}): TimeScale {
  const { startUtcMs, endUtcMs, widthPx } = options;
  const spanMs = Math.max(1, endUtcMs - startUtcMs);
  return {
    ...options,
    xOf: (utcMs) => ((utcMs - startUtcMs) / spanMs) * widthPx,
    utcOf: (x) => startUtcMs + (x / Math.max(1, widthPx)) * spanMs,
  };
}

const MINUTE_MS = 60_000;
const TICK_STEPS_MS = [1 / 6, 1 / 2, 1, 2, 5, 10, 15, 30, 60, 120, 180, 360].map(
  (minutes) => minutes * MINUTE_MS,
);

/** Round moments of the laptop's own clock, far enough apart for their labels. */
export function timeTicks(scale: TimeScale, spacingPxMin = 76): readonly number[] {
  const msPerPx = (scale.endUtcMs - scale.startUtcMs) / Math.max(1, scale.widthPx);
  const stepMs =
    TICK_STEPS_MS.find((step) => step / msPerPx >= spacingPxMin) ?? TICK_STEPS_MS.at(-1) ?? 1;
  // Round on the wall, not in UTC: half-hour zones exist.
  const zoneMs = -new Date(scale.startUtcMs).getTimezoneOffset() * MINUTE_MS;
  const first = Math.ceil((scale.startUtcMs + zoneMs) / stepMs) * stepMs - zoneMs;
  const count = Math.max(0, Math.floor((scale.endUtcMs - first) / stepMs) + 1);
  return Array.from({ length: count }, (_, at) => first + at * stepMs);
}

const HOUR_MS = 3_600_000;

/** The whole night as the strip shows it: from its first frame to its expected end. */
export function wholeNight(options: {
  nightStartUtcMs: number;
  firstOpenedUtcMs: number | null;
  newestUtcMs: number | null;
  endsUtcMs: number | null;
}): Stretch {
  const { nightStartUtcMs, firstOpenedUtcMs, newestUtcMs, endsUtcMs } = options;
  const newest = newestUtcMs ?? nightStartUtcMs;
  const startUtcMs = Math.min(nightStartUtcMs, firstOpenedUtcMs ?? nightStartUtcMs);
  const grownMs = Math.max(HOUR_MS, (newest - startUtcMs) * 1.05);
  return { startUtcMs, endUtcMs: Math.max(endsUtcMs ?? 0, startUtcMs + grownMs) };
}
