import { describe, expect, it } from "vitest";

import { isInFrame } from "../../../core/plan/moon.ts";
import { kitWith, planWith } from "../../support/planFixtures.ts";

describe("the Moon during the watch", () => {
  it("stands highest where an independent ephemeris has it: 45.4° at 206° past its culmination", () => {
    // Source of the anchor: astropy 5.2.1, 2026-12-24 00:00 UTC at 69.65 N 18.96 E: 45.44°, 206.07°.
    const plan = planWith({ latitudeDeg: 69.65, longitudeDeg: 18.96, dateIso: "2026-12-23" });
    const midnight = plan.samples.find(({ time }) => time >= "2026-12-24T00:00:00Z")!;
    expect(midnight.moonAltitudeDeg).toBeCloseTo(45.4, 0);
    expect(plan.moonHighest!.altitudeDeg).toBeGreaterThan(midnight.moonAltitudeDeg);
    expect(plan.moonHighest!.azimuthDeg).toBeCloseTo(180, -1);
  });

  it("is not reported when it stays below the horizon", () => {
    const plan = planWith({ dateIso: "2026-11-10" });
    expect([plan.moonPresence, plan.moonHighest, plan.moonInFrame]).toEqual([
      "downAllDay",
      null,
      null,
    ]);
  });

  it("is in the frame when it crosses the north of a frame that faces north", () => {
    const plan = planWith({ dateIso: "2026-12-23" });
    expect(plan.moonInFrame).not.toBeNull();
    expect(plan.moonInFrame!.from <= plan.moonInFrame!.to).toBe(true);
  });
});

describe("what falls onto the sensor", () => {
  const framing = { kit: kitWith(), centre: { bearingDeg: 0, elevationDeg: 0 } };

  it.each([
    // 16 mm on 36 × 24 mm: half the field is 48.37° across and 36.87° up.
    [48.3, 0, true],
    [48.5, 0, false],
    [-48.3, 0, true],
    [0, 36.8, true],
    [0, 37, false],
    [180, 0, false],
    [359, 1, true],
  ])("includes a point at %d°, %d° up: %s", (bearingDeg, elevationDeg, expected) => {
    expect(isInFrame({ bearingDeg, elevationDeg }, framing)).toBe(expected);
  });

  it("includes the zenith of a frame that looks up, whatever its bearing", () => {
    const up = { kit: kitWith(), centre: { bearingDeg: 200, elevationDeg: 80 } };
    expect(isInFrame({ bearingDeg: 20, elevationDeg: 85 }, up)).toBe(true);
  });
});
