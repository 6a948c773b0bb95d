import { expect, test } from "vitest";

import { panned, showing, STRETCH_MS_MIN, zoomed } from "../../../ui/lib/strip/stretch.ts";
import { firstFrom, nearestTo, positionOf } from "../../../ui/lib/strip/nearest.ts";
import { pointOf } from "../../../ui/lib/state/tracePoint.ts";
import { utcMs } from "../../../core/units.ts";
import { makeFrame } from "../../support/madeUpNight.ts";

const HOUR_MS = 3_600_000;
const WHOLE = { startUtcMs: 0, endUtcMs: 10 * HOUR_MS };

test("zooms around the moment under the finger, which stays where it is", () => {
  const next = zoomed(WHOLE, WHOLE, { factor: 4, aroundUtcMs: 4 * HOUR_MS });
  expect(next).toEqual({ startUtcMs: 3 * HOUR_MS, endUtcMs: 5.5 * HOUR_MS });
});

test("zooms from the whole night down to one minute and no further", () => {
  let shown = WHOLE;
  for (let step = 0; step < 30; step += 1) {
    shown = zoomed(shown, WHOLE, { factor: 2, aroundUtcMs: 6 * HOUR_MS });
  }
  expect(shown.endUtcMs - shown.startUtcMs).toBe(STRETCH_MS_MIN);
  expect(shown.startUtcMs).toBeLessThanOrEqual(6 * HOUR_MS);
  expect(shown.endUtcMs).toBeGreaterThanOrEqual(6 * HOUR_MS);
});

test("never shows more than the night, however wide it is zoomed or far it is panned", () => {
  const shown = { startUtcMs: 8 * HOUR_MS, endUtcMs: 9 * HOUR_MS };
  expect(zoomed(shown, WHOLE, { factor: 1 / 100, aroundUtcMs: 8.5 * HOUR_MS })).toEqual(WHOLE);
  expect(panned(shown, WHOLE, 5 * HOUR_MS)).toEqual({
    startUtcMs: 9 * HOUR_MS,
    endUtcMs: 10 * HOUR_MS,
  });
});

test("moves a zoomed stretch by no more than brings a moment into it", () => {
  const shown = { startUtcMs: 2 * HOUR_MS, endUtcMs: 3 * HOUR_MS };
  expect(showing(shown, WHOLE, 2.5 * HOUR_MS)).toBe(shown);
  const later = showing(shown, WHOLE, 3.5 * HOUR_MS);
  expect(later.endUtcMs).toBeCloseTo(3.54 * HOUR_MS, -3);
  expect(later.endUtcMs - later.startUtcMs).toBeCloseTo(HOUR_MS, -3);
});

test("finds the frame nearest to a moment, and a frame by its index where some are missing", () => {
  const points = [0, 10, 20, 90].flatMap((seconds, at) => {
    const frame = makeFrame({ frameIndex: at * 2, openedUtcMs: utcMs(seconds * 1000) });
    return pointOf(frame) ?? [];
  });
  expect(firstFrom(points, 10_000)).toBe(1);
  expect(firstFrom(points, 90_001)).toBe(4);
  expect(nearestTo(points, -5)?.frameIndex).toBe(0);
  expect(nearestTo(points, 54_000)?.frameIndex).toBe(4);
  expect(nearestTo(points, 56_000)?.frameIndex).toBe(6);
  expect(nearestTo([], 0)).toBeNull();
  expect([positionOf(points, 4), positionOf(points, 5)]).toEqual([2, -1]);
});
