import { describe, expect, it } from "vitest";

import { framedDirections, isInFrame } from "../../../core/plan/moon.ts";
import { moonEvents, moonInFrameText } from "../../../core/plan/moonWhen.ts";
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
      [],
    ]);
    expect(plan.moonSentence).toContain("below the horizon around the clock");
  });

  it("is in the frame when it crosses the north of a frame that faces north", () => {
    const plan = planWith({ dateIso: "2026-12-23" });
    expect(plan.moonInFrame.length).toBeGreaterThan(0);
    for (const { from, to } of plan.moonInFrame) expect(from <= to).toBe(true);
    expect(plan.moonSentence).toContain("into the frame itself");
  });

  // One point in the Moon's glow is not the sky: the same night was said to brighten by 10.4 stops for it.
  it("brightens the framed sky by its median, not by the glow about a Moon that stands in its middle", () => {
    const plan = planWith({ dateIso: "2026-12-23" });
    const inFrame = plan.samples.filter(({ time }) =>
      plan.moonInFrame.some(({ from, to }) => time >= from && time <= to),
    );
    const glow = Math.max(
      ...plan.samples.map(({ skyMagArcsec2, moonlightMag }) => 22 - skyMagArcsec2 - moonlightMag),
    );
    expect(inFrame.length).toBeGreaterThan(0);
    expect(Number.isFinite(glow)).toBe(true);
    // Krisciunas and Schaefer 1991, fig. 6: a full Moon takes a dark sky to some 17.5 mag/arcsec².
    expect(plan.moonWashMaxMag).toBeLessThan(5);
  });

  it("rises and sets in the order in which it does", () => {
    for (let day = 1; day <= 28; day += 1) {
      const dateIso = `2026-10-${String(day).padStart(2, "0")}`;
      const moments = moonEvents(planWith({ latitudeDeg: 60, dateIso })).map(({ at }) => at);
      expect(moments).toEqual([...moments].sort());
    }
  });

  it("is in the frame throughout, about a moment, or from one to another and from a third to a fourth", () => {
    const watch = { start: "2026-12-23T12:05:00Z", end: "2026-12-24T12:05:00Z" };
    const said = (moonInFrame: readonly { from: string; to: string }[]): string | null =>
      moonInFrameText(
        { moonInFrame, watch: { ...watch, hours: 24, by: "nautical", sentence: "" } },
        (iso) => iso.slice(11, 16),
      );
    const on = (day: number, time: string): string => `2026-12-${day}T${time}:00Z`;
    expect(said([])).toBeNull();
    expect(said([{ from: on(23, "12:10"), to: on(24, "12:00") }])).toBe("throughout the watch");
    expect(said([{ from: on(23, "20:00"), to: on(23, "20:00") }])).toBe("about 20:00");
    expect(
      said([
        { from: on(23, "12:10"), to: on(23, "15:00") },
        { from: on(24, "10:00"), to: on(24, "12:00") },
      ]),
    ).toBe("from 12:10 to 15:00 and from 10:00 to 12:00");
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

  it("includes every direction that stands for the frame, and its middle among them", () => {
    const north = { kit: kitWith(), centre: { bearingDeg: 350, elevationDeg: 30 } };
    const directions = framedDirections(north);
    expect(directions.length).toBeGreaterThan(60);
    for (const direction of directions) expect(isInFrame(direction, north)).toBe(true);
    const middle = directions.find(({ bearingDeg }) => Math.abs(bearingDeg - 350) < 1e-6)!;
    expect(middle).toBeDefined();
  });

  it("includes the zenith of a frame that looks up, whatever its bearing", () => {
    const up = { kit: kitWith(), centre: { bearingDeg: 200, elevationDeg: 80 } };
    expect(isInFrame({ bearingDeg: 20, elevationDeg: 85 }, up)).toBe(true);
  });
});
