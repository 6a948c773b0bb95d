import { expect, it } from "vitest";
import {
  createSky,
  DEMO_NIGHT,
  driftDegPerSecond,
  HUT_SEVEN,
} from "../../../core/simulation/sky.ts";
import { gridLight, skyGrid } from "../../../core/simulation/skyLight.ts";
import { viewOf } from "../../../core/simulation/view.ts";
import type { UtcMs } from "../../../core/units.ts";

const night = createSky({ seed: "7", place: HUT_SEVEN, ...DEMO_NIGHT, scenario: "demo" });
/** The curtains alone: no land, no other light, no patches, which move nothing but brightness. */
const curtains = {
  ...night,
  clear: null,
  clouds: null,
  foreground: null,
  aurora: { ...night.aurora!, patches: { ...night.aurora!.patches, patches: [] } },
};
const view = viewOf({
  ...{ centre: HUT_SEVEN, focalLengthMm: 16, sensorWidthMm: 36 },
  ...{ widthPx: 750, heightPx: 500 },
});
const grid = skyGrid(curtains, view, 2);

/**
 * Apparent speed of what is seen in the middle third of the frame, degrees a second: the one shift
 * that explains most of the change from one exposure to another a fifth of a second later.
 */
function seenDegPerSecond(atUtcMs: UtcMs, exposureSeconds: number): number {
  const laterSeconds = 0.2;
  const stopsOf = (openedUtcMs: number): Float64Array => {
    const light = gridLight(curtains, grid, openedUtcMs as UtcMs, exposureSeconds);
    return Float64Array.from({ length: light.length / 3 }, (_, point) =>
      Math.log2(light[point * 3 + 1]! + 2e-4),
    );
  };
  const [before, after] = [stopsOf(atUtcMs), stopsOf(atUtcMs + laterSeconds * 1000)];
  let [slopes, changes] = [0, 0];
  for (let row = 1; row < grid.rows - 1; row += 1) {
    for (let column = grid.columns / 3; column < (2 * grid.columns) / 3; column += 1) {
      const at = row * grid.columns + Math.floor(column);
      const slope = (before[at + 1]! - before[at - 1]! + after[at + 1]! - after[at - 1]!) / 4;
      slopes += slope * slope;
      changes += slope * (after[at]! - before[at]!);
    }
  }
  const degPerPoint = ((grid.stepPx / view.pxPerRad) * 180) / Math.PI;
  return (-changes / slopes / laterSeconds) * degPerPoint;
}

it.each([
  ["a quiet arc", 0.25],
  ["the growth phase", 0.355],
  ["the breakup", 0.376],
  ["its end", 0.41],
])(
  "the curtains of %s are seen to move as fast as the sky says, to a factor of 1.6",
  (_, share) => {
    const at = (DEMO_NIGHT.startUtcMs + share * DEMO_NIGHT.durationSeconds * 1000) as UtcMs;
    const ratio = seenDegPerSecond(at, 3) / driftDegPerSecond(night, at);
    expect(ratio).toBeGreaterThan(1 / 1.6);
    expect(ratio).toBeLessThan(1.6);
  },
);
