import { describe, expect, it } from "vitest";

import { frostbiteAt, windChillC } from "../../core/sky/windChill.ts";

describe("wind chill", () => {
  it.each([
    // Source: Environment Canada's wind chill chart (whole degrees), JAG/TI 2001.
    [-10, 20, -17.86, -18],
    [-20, 30, -32.57, -33],
    [-30, 30, -45.62, -46],
    [-40, 50, -62.66, -63],
  ])("of %d °C in %d km/h is %d, %d in the chart", (temperature, wind, exact, chart) => {
    expect(windChillC(temperature, wind)).toBeCloseTo(exact, 2);
    expect(Math.round(windChillC(temperature, wind))).toBe(chart);
  });

  it("is the air's temperature without wind and above 10 °C", () => {
    expect(windChillC(-20, 0)).toBe(-20);
    expect(windChillC(15, 60)).toBe(15);
  });

  // Environment Canada's rule for wind below 5 km/h (from memory): −20 + (−1.59 − 2.69) · 4 / 5.
  it("of −20 °C in 4 km/h is −23.42, and meets the formula at 5 km/h within 0.1", () => {
    expect(windChillC(-20, 4)).toBeCloseTo(-23.42, 2);
    for (const temperature of [-40, -20, 0]) {
      const [below, at] = [windChillC(temperature, 4.999), windChillC(temperature, 5)];
      expect(Math.abs(below - at)).toBeLessThan(0.1);
    }
  });

  it.each([
    // Source: Environment Canada, wind chill hazards and times to frostbite.
    [-27, "low", null],
    [-28, "rising", [10, 30]],
    [-39, "rising", [10, 30]],
    [-40, "high", [5, 10]],
    [-47, "high", [5, 10]],
    [-48, "severe", [2, 5]],
    [-54, "severe", [2, 5]],
    [-55, "extreme", [0, 2]],
  ])("of %d carries %s risk of frostbite", (chill, risk, minutes) => {
    expect(frostbiteAt(chill)).toEqual({ risk, minutes });
  });
});
