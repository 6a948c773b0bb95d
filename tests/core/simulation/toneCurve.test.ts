import { describe, expect, it } from "vitest";
import {
  TONE_CURVES,
  TONE_TABLE_COUNT,
  TONE_TABLE_FROM,
  TONE_TABLE_STEPS,
  toneCode,
  toneTable,
} from "../../../core/simulation/toneCurve.ts";
import { midGreyOffsetStops } from "../../support/midGreyOffsetStops.ts";

describe("hidden tone curves", () => {
  const curves = Object.values(TONE_CURVES);

  it.each(curves)("$name runs from its black to 255 and rises all the way", (curve) => {
    expect(toneCode(curve, 0)).toBe(curve.blackCode);
    expect(toneCode(curve, 1)).toBeCloseTo(255, 9);
    let before = toneCode(curve, 0);
    for (let step = 1; step <= 1000; step += 1) {
      const code = toneCode(curve, step / 1000);
      expect(code).toBeGreaterThan(before);
      before = code;
    }
  });

  it("mild puts mid-grey, 12.8 % of saturation, at code 118 (ISO 12232: 0.461 · 255)", () => {
    expect(toneCode(TONE_CURVES.mild, 10 / 78)).toBeCloseTo(118, 0);
  });

  it("differ from each other by more than six codes at mid-grey or a stop beside it", () => {
    const [mild, ...others] = curves;
    for (const other of others) {
      const gaps = [5 / 78, 10 / 78, 20 / 78].map((light) =>
        Math.abs(toneCode(other, light) - toneCode(mild!, light)),
      );
      expect(Math.max(...gaps)).toBeGreaterThan(6);
    }
  });

  it("hold light outside 0..1 at the ends", () => {
    expect(toneCode(TONE_CURVES.mild, -0.3)).toBe(0);
    expect(toneCode(TONE_CURVES.mild, 1.7)).toBeCloseTo(255, 9);
  });

  it("are tabulated to the nearest code, darkness and white beyond their ends", () => {
    const curve = TONE_CURVES.offset;
    const table = toneTable(curve);
    const at = (linear: number): number =>
      table[Math.round((linear - TONE_TABLE_FROM) * TONE_TABLE_STEPS)]!;
    expect(table).toHaveLength(TONE_TABLE_COUNT);
    expect([at(-1), at(0), at(1), at(2.7)]).toEqual([9, 9, 255, 255]);
    expect(at(0.25)).toBe(Math.round(toneCode(curve, 0.25)));
  });

  // By hand from the curves' own definition: what each renders to code 118.
  it.each([
    ["mild", 0],
    ["contrasty", -0.19],
    ["flat", 0.27],
    ["offset", -0.2],
  ] as const)("of the name %s has its mid-grey %d stops off the standard's", (name, stops) => {
    expect(Math.abs(midGreyOffsetStops(TONE_CURVES[name]) - stops)).toBeLessThan(0.012);
  });
});
