import { describe, expect, it } from "vitest";
import { refractionDeg, trueAltitudeDeg } from "../../core/sky/refraction.ts";

describe("refraction", () => {
  // Saemundsson's formula as Meeus gives it, ch. 16: 28.98′ for a true altitude of 0; the almanac's
  // standard 34′ is for an apparent one (from memory). Bennett's values for apparent 10 and 45°.
  it("lifts the true horizon by 28.98′", () => {
    expect(60 * refractionDeg(0)).toBeCloseTo(28.98, 2);
  });

  it.each([
    [0, 34.5, 0.7],
    [10, 5.39, 0.1],
    [45, 1, 0.05],
    [90, 0, 0.01],
  ])("of what is seen at %d° is %d′, to %d′", (apparentDeg, minutes, tolerance) => {
    const lift = 60 * (apparentDeg - trueAltitudeDeg(apparentDeg));
    expect(Math.abs(lift - minutes)).toBeLessThan(tolerance);
  });

  it("is undone to 0.1″ from the horizon to the zenith", () => {
    for (let apparent = 0; apparent <= 90; apparent += 0.5) {
      const altitude = trueAltitudeDeg(apparent);
      expect(Math.abs(altitude + refractionDeg(altitude) - apparent) * 3600).toBeLessThan(0.1);
    }
  });

  it("is nothing far below the horizon", () => {
    expect(refractionDeg(-10)).toBe(0);
  });
});
