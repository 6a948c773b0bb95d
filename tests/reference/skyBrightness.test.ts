import { describe, expect, it } from "vitest";

import { luminanceCdM2OfMag, magArcsec2Of } from "../../core/sky/luminance.ts";
import {
  DEFAULT_SKY_CONDITIONS,
  NATURAL_ZENITH_MAG,
  skyBrightness,
} from "../../core/sky/skyBrightness.ts";
import { twilightFlux } from "../../core/sky/twilight.ts";

const ZENITH = { bearingDeg: 0, elevationDeg: 90 };

describe("sky brightness", () => {
  it.each([
    // Source: 10.8e4 · 10^(−0.4 m); 22.00 mag = 1.7e-4 cd/m² also in Falchi et al. 2016.
    [18, 6.814e-3],
    [19, 2.713e-3],
    [20, 1.08e-3],
    [21.6, 2.474e-4],
    [21.8, 2.058e-4],
    [22, 1.712e-4],
  ])("turns %d mag/arcsec² into %d cd/m² and back", (mag, luminance) => {
    expect(Math.abs(luminanceCdM2OfMag(mag) / luminance - 1)).toBeLessThan(0.001);
    expect(magArcsec2Of(luminance)).toBeCloseTo(mag, 2);
  });

  it("is the natural 22.0 at a moonless dark zenith (Falchi et al. 2016)", () => {
    const sky = skyBrightness({
      atUtcMs: Date.parse("2026-11-10T22:00Z"),
      place: { latitudeDeg: 68.9, longitudeDeg: 27, elevationM: 0 },
      towards: ZENITH,
      conditions: DEFAULT_SKY_CONDITIONS,
    });
    expect(sky.sun.altitudeDeg).toBeLessThan(-18);
    expect(sky.magArcsec2).toBeCloseTo(NATURAL_ZENITH_MAG, 3);
    expect(sky.moonlightMag).toBe(0);
  });

  it("is 2.5e-3 to 6e-3 cd/m² under a full Moon at 45° (4e-3 to 5e-3 by Krisciunas and Schaefer)", () => {
    const sky = skyBrightness({
      atUtcMs: Date.parse("2026-12-24T00:00Z"),
      place: { latitudeDeg: 69.65, longitudeDeg: 18.96, elevationM: 0 },
      towards: { bearingDeg: 335, elevationDeg: 60 },
      conditions: DEFAULT_SKY_CONDITIONS,
    });
    expect(sky.moon.altitudeDeg).toBeCloseTo(45.4, 1);
    expect(sky.luminanceCdM2).toBeGreaterThan(2.5e-3);
    expect(sky.luminanceCdM2).toBeLessThan(6e-3);
  });

  it.each([
    // Source: Patat et al. 2006, table 1, at 2635 m and, 30 % brighter, at sea level; cd/m².
    [-6, 0.516, 0.671],
    [-8, 4.8e-2, 6.24e-2],
    [-10, 6.78e-3, 8.82e-3],
    [-12, 1.46e-3, 1.9e-3],
  ])(
    "of twilight with the Sun at %d° is %d cd/m² high up and %d at sea level",
    (sun, high, low) => {
      const night = luminanceCdM2OfMag(21.6);
      const twilight = (elevationM: number) =>
        luminanceCdM2OfMag(0) * twilightFlux(sun, elevationM);
      expect(Math.abs((twilight(2635) + night) / high - 1)).toBeLessThan(0.01);
      expect(Math.abs((twilight(0) + 1.3 * night) / low - 1)).toBeLessThan(0.01);
    },
  );

  it("falls without a step from noon into the night", () => {
    let before = Infinity;
    for (let altitude = 60; altitude >= -18; altitude -= 0.05) {
      const flux = twilightFlux(altitude, 0);
      expect(flux).toBeLessThanOrEqual(before);
      if (altitude > -14 && before < Infinity) expect(flux / before).toBeGreaterThan(0.85);
      before = flux;
    }
    expect(twilightFlux(-18, 0)).toBe(0);
  });
});
