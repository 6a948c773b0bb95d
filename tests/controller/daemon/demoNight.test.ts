import { describe, expect, it } from "vitest";
import { DEMO_SCENARIO_UTC_MS, demoNight } from "../../../controller/daemon/demoNight.ts";
import { createSky, DEMO_NIGHT, HUT_SEVEN } from "../../../core/simulation/sky.ts";
import { meteredLuminanceCdM2 } from "../../support/meteredSky.ts";
import { sunPosition } from "../../../core/sky/ephemeris.ts";
import type { UtcMs } from "../../../core/units.ts";

/** Half a minute of the demo at its usual rate of 10. */
const HALF_MINUTE_MS = 300_000;

describe("the demo's beginning", () => {
  it.each(["7", "another"])(
    "shows a breakup of one and a half stops and more within its first half minute, seed %s",
    (seed) => {
      const { startUtcMs } = demoNight(seed, false);
      const sky = createSky({ seed, place: HUT_SEVEN, ...DEMO_NIGHT, scenario: "demo" });
      const lightAt = (ms: number): number => meteredLuminanceCdM2(sky, (startUtcMs + ms) as UtcMs);
      const course = [0, 0.5, 0.75, 1].map((part) => lightAt(part * HALF_MINUTE_MS));
      expect(Math.log2(Math.max(...course) / course[0]!)).toBeGreaterThan(1.5);
    },
  );

  it("is at dusk where that is asked for, the Sun 6° under", () => {
    const { startUtcMs } = demoNight("7", true);
    expect(startUtcMs).toBe(DEMO_SCENARIO_UTC_MS);
    const { altitudeDeg } = sunPosition(startUtcMs, { ...HUT_SEVEN, elevationM: 0 });
    expect(Math.abs(altitudeDeg + 6)).toBeLessThan(0.25);
  });
});
