import { describe, expect, it } from "vitest";
import { targetStopsAt, twilightLiftStops } from "../../../core/exposure/twilightTarget.ts";
import { monotonicMs } from "../../../core/units.ts";

describe("the target in twilight", () => {
  // Common practice, no source: −1 with the Sun at −6°, −2 from −12° on.
  it.each([
    [-3, 1],
    [-6, 1],
    [-9, 0.5],
    [-12, 0],
    [-30, 0],
  ])("with the Sun at %d° is lifted by %d stop of 1", (sunDeg, stops) => {
    expect(twilightLiftStops(sunDeg, 1)).toBeCloseTo(stops, 9);
  });

  it("changes smoothly: by no more than 0.26 stop a degree, and only downward as the Sun sinks", () => {
    for (let sunDeg = 0; sunDeg > -18; sunDeg -= 0.1) {
      const fall = twilightLiftStops(sunDeg, 1) - twilightLiftStops(sunDeg - 0.1, 1);
      expect(fall).toBeGreaterThanOrEqual(0);
      expect(fall).toBeLessThan(0.026);
    }
  });

  it("is linear between the moments that are given, and stays at the last one's", () => {
    const settings = {
      exposure: { targetStops: -2 },
      twilightLift: [
        { atMs: monotonicMs(0), stops: 1 },
        { atMs: monotonicMs(1000), stops: 0 },
      ],
    };
    const at = (ms: number): number => targetStopsAt(settings, monotonicMs(ms));
    expect([at(0), at(250), at(1000), at(9000)]).toEqual([-1, -1.25, -2, -2]);
  });

  it("is the night's own where no twilight is given", () => {
    expect(targetStopsAt({ exposure: { targetStops: -1.5 } }, monotonicMs(7))).toBe(-1.5);
  });
});
