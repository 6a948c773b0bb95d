import { expect, it } from "vitest";
import {
  batteryEndMs,
  withBatteryReading,
  type BatteryFall,
} from "../../../core/watch/batteryDrain.ts";
import { monotonicMs } from "../../../core/units.ts";

const HOUR_MS = 3_600_000;

/** What is known after readings of [hour, per cent], in order. */
function fallsOf(readings: readonly (readonly [number, number])[]): readonly BatteryFall[] {
  let falls: readonly BatteryFall[] = [];
  let beforePercent: number | null = null;
  for (const [hour, percent] of readings) {
    const atMs = monotonicMs(hour * HOUR_MS);
    falls = withBatteryReading(falls, { atMs, percent, beforePercent });
    beforePercent = percent;
  }
  return falls;
}

it("a battery that loses 10 % an hour from 80 % is at 10 % after seven hours more", () => {
  const falls = fallsOf([
    [0, 100],
    [0.5, 100],
    [1, 90],
    [1.5, 90],
    [2, 80],
  ]);
  expect(batteryEndMs(falls, 10)).toBeCloseTo(9 * HOUR_MS, 3);
});

it("says nothing before the figure has fallen twice", () => {
  expect(batteryEndMs(fallsOf([[0, 100]]), 10)).toBeNull();
  const once = fallsOf([
    [0, 100],
    [1, 75],
  ]);
  expect(batteryEndMs(once, 10)).toBeNull();
});

it("forgets the old battery when a fresh one is put in", () => {
  const falls = fallsOf([
    [0, 30],
    [1, 20],
    [2, 10],
    [3, 98],
  ]);
  expect(falls).toEqual([]);
});

it("follows a drain that doubles, once the old pace is eight falls ago", () => {
  const slow = Array.from({ length: 10 }, (_, at) => [at, 100 - at] as const);
  const fast = Array.from({ length: 8 }, (_, at) => [9.5 + at / 2, 90 - at] as const);
  const falls = fallsOf([...slow, ...fast]);
  expect(batteryEndMs(falls, 10)).toBeCloseTo((13 + 73 / 2) * HOUR_MS, 3);
});
