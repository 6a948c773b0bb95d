import { describe, expect, it } from "vitest";

import { separationDeg } from "../../core/sky/angles.ts";
import { magArcsec2OfNanolambert, nanolambertOfMag } from "../support/nanolamberts.ts";
import { moonlightNanolambert, naturalSkyFactor } from "../../core/sky/moonlight.ts";

describe("moonlight against Krisciunas and Schaefer 1991, PASP 103:1033", () => {
  it.each([
    // α, Moon's and sky's zenith distance, azimuth between, extinction; ρ, moonlight, natural sky
    // (nanolambert), change and total (V). Zenith 79.0 nL as the paper's dark sky. Worked from
    // the paper's equations; the first row's 19.855 (Moon alone) is a published value.
    [45, 70, 20, 0, 0.15, 50, 389.5, 83.15, -1.887, 19.645],
    [0, 30, 30, 180, 0.172, 60, 1390.4, 88.54, -3.057, 18.406],
    [90, 60, 20, 120, 0.172, 71.23, 88.1, 83.04, -0.785, 20.748],
    [120, 80, 40, 90, 0.172, 82.36, 20.04, 97.19, -0.204, 21.159],
  ])("matches α %d, Zm %d, Z %d, ΔAz %d, k %d", (...row) => {
    const [alpha, moonZ, skyZ, across, k, rho, moonNl, naturalNl, change, total] = row;
    const moon = { bearingDeg: 0, elevationDeg: 90 - moonZ };
    const towards = { bearingDeg: across, elevationDeg: 90 - skyZ };
    const light = moonlightNanolambert({ phaseAngleDeg: alpha, moon, towards, extinctionMag: k });
    const natural = 79 * naturalSkyFactor(skyZ, k);
    expect(separationDeg(moon, towards)).toBeCloseTo(rho, 1);
    expect(Math.abs(light / moonNl - 1)).toBeLessThan(0.01);
    expect(Math.abs(natural / naturalNl - 1)).toBeLessThan(0.01);
    expect(Math.abs(-2.5 * Math.log10((light + natural) / natural) - change)).toBeLessThan(0.01);
    expect(Math.abs(magArcsec2OfNanolambert(light + natural) - total)).toBeLessThan(0.01);
  });

  it("gives the published 19.855 mag/arcsec² for the Moon alone", () => {
    const light = moonlightNanolambert({
      phaseAngleDeg: 45,
      moon: { bearingDeg: 0, elevationDeg: 20 },
      towards: { bearingDeg: 0, elevationDeg: 70 },
      extinctionMag: 0.15,
    });
    expect(magArcsec2OfNanolambert(light)).toBeCloseTo(19.855, 2);
  });

  it("turns the paper's dark sky of 79.0 nL into 21.587 mag/arcsec² and back", () => {
    expect(magArcsec2OfNanolambert(79)).toBeCloseTo(21.587, 2);
    expect(nanolambertOfMag(21.587)).toBeCloseTo(79, 0);
  });

  it("adds nothing while the Moon is down", () => {
    const down = { bearingDeg: 90, elevationDeg: -0.1 };
    const towards = { bearingDeg: 90, elevationDeg: 5 };
    expect(
      moonlightNanolambert({ phaseAngleDeg: 0, moon: down, towards, extinctionMag: 0.2 }),
    ).toBe(0);
  });
});
