import { describe, expect, it } from "vitest";
import {
  CEILING_STOPS,
  clipSky,
  lightSpreadOf,
  normalShareBelow,
  unclippedStops,
} from "../../../core/exposure/highlights.ts";

describe("highlights", () => {
  it("puts the ceiling 2.963 stops above mid-grey (78/S over 10/S, ISO 12232)", () => {
    expect(CEILING_STOPS).toBeCloseTo(2.9635, 4);
  });

  // Source: tables of the normal distribution, as in Abramowitz & Stegun table 26.1.
  it.each([
    [0, 0.5],
    [1, 0.8413447],
    [-1.96, 0.0249979],
    [2.5758, 0.995],
  ])("knows the share of a normal distribution below %d: %d", (z, share) => {
    expect(normalShareBelow(z)).toBeCloseTo(share, 6);
  });

  it("gives back the peak ratio from the spread that it implies", () => {
    for (const peakRatio of [1, 1.5, 3, 8, 20]) {
      const spread = lightSpreadOf(peakRatio);
      expect(Math.exp(2.5758 * spread - spread ** 2 / 2)).toBeCloseTo(peakRatio, 6);
    }
  });

  it("leaves a sky alone whose brightest parts are far below the ceiling", () => {
    const seen = clipSky(-2, 4);
    expect(seen.skyStops).toBeCloseTo(-2, 5);
    expect(seen.clippedShare).toBeLessThan(1e-6);
  });

  it.each([
    [1, 6],
    [2, 4],
    [2.5, 8],
    [4, 5],
  ])("finds the true mean of a sky at %d stops with peaks of %d again", (stops, peakRatio) => {
    const seen = clipSky(stops, peakRatio);
    expect(seen.skyStops).toBeLessThan(stops);
    expect(unclippedStops(seen.skyStops, seen.clippedShare)).toBeCloseTo(stops, 1);
  });

  it("never corrects downwards, by more than 3 stops, or into nonsense", () => {
    for (const share of [0, 0.0005, 0.01, 0.5, 0.99, 1]) {
      for (const stops of [-6, -2, 0, 2.9, CEILING_STOPS, 5]) {
        const corrected = unclippedStops(stops, share);
        expect(corrected).toBeGreaterThanOrEqual(stops);
        expect(corrected).toBeLessThanOrEqual(stops + 3);
      }
    }
  });
});
