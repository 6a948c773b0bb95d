/**
 * The simulated sky against published brightness and places.
 *
 * Sources: twilight from Patat, Ugolnikov and Postylyakov 2006 (A&A 455:385, table 1; rms 0.18 mag)
 * times 1.3 for sea level; natural sky 22.00 mag/arcsec² (Falchi et al. 2016); full Moon's sky 4 to
 * 5e-3 cd/m² by Krisciunas and Schaefer 1991 (PASP 103:1033; 8 to 23 %); the Moon's place from
 * two independent ephemerides that agree to 0.003°.
 */
import { describe, expect, it } from "vitest";
import { sunPosition } from "../../core/sky/ephemeris.ts";
import { createSky, skyLuminanceCdM2 } from "../../core/simulation/sky.ts";
import type { SimulatedSky } from "../../core/simulation/simulatedSky.ts";
import type { UtcMs } from "../../core/units.ts";
import { channelOf, makeFramePicture } from "../support/renderedFrame.ts";

const PLACE = { latitudeDeg: 45, longitudeDeg: 0, azimuthDeg: 0, altitudeDeg: 45 };
const DUSK = Date.UTC(2026, 2, 19, 17, 30);

/** A night without aurora, Milky Way, town and land; the Moon is new on this date. */
function bareSky(place = PLACE, startUtcMs = DUSK, hasMoon = false): SimulatedSky {
  const sky = createSky({
    seed: 1,
    place,
    startUtcMs: startUtcMs as UtcMs,
    durationSeconds: 36_000,
    scenario: "quiet",
  });
  return {
    ...sky,
    aurora: null,
    clouds: null,
    foreground: null,
    stars: [],
    clear: { ...sky.clear!, zenithMag: 22, hasMilkyWay: false, town: null, hasMoon },
  };
}

/** When the Sun sinks through an altitude on the evening of the equinox. */
function whenSunAt(altitudeDeg: number): UtcMs {
  let [early, late] = [DUSK, DUSK + 4 * 3_600_000];
  for (let step = 0; step < 40; step += 1) {
    const middle = (early + late) / 2;
    const { altitudeDeg: here } = sunPosition(middle, { ...PLACE, elevationM: 0 });
    if (here > altitudeDeg) early = middle;
    else late = middle;
  }
  return early as UtcMs;
}

describe("the simulated twilight", () => {
  const sky = bareSky();
  // The published polynomial holds its site's own night sky of 21.6 mag, here times 1.3 as well.
  const withItsNight = {
    ...sky,
    clear: { ...sky.clear!, zenithMag: 21.6 - 2.5 * Math.log10(1.3) },
  };
  it.each([
    [-5, 2.578],
    [-6, 0.671],
    [-8, 6.24e-2],
    [-9, 2.23e-2],
    [-10, 8.82e-3],
    [-12, 1.9e-3],
    [-14, 6.21e-4],
  ])("with the Sun at %d° has a zenith of %d cd/m², to 0.02 mag", (sun, cdM2) => {
    const found = skyLuminanceCdM2(withItsNight, whenSunAt(sun), 90, 0);
    expect(Math.abs(2.5 * Math.log10(found / cdM2))).toBeLessThan(0.02);
  });

  it("falls from each half degree to the next, from −1° to −18°, and then is 22.00 mag", () => {
    let before = Infinity;
    for (let sun = -1; sun >= -18; sun -= 0.5) {
      const here = skyLuminanceCdM2(sky, whenSunAt(sun), 90, 0);
      expect(here).toBeLessThan(before);
      before = here;
    }
    expect(skyLuminanceCdM2(sky, whenSunAt(-18.5), 90, 0) / 1.712e-4).toBeCloseTo(1, 2);
  });
});

describe("the simulated Moon", () => {
  // 2026-12-24 00:00 UTC at 69.65 N 18.96 E: altitude 45.441, azimuth 206.070, lit 0.9988.
  const utcMs = Date.UTC(2026, 11, 24) as UtcMs;
  const toMoon = {
    latitudeDeg: 69.65,
    longitudeDeg: 18.96,
    azimuthDeg: 206.07,
    altitudeDeg: 45.441,
  };

  it("lights the sky 60° away to between 3 and 6.5e-3 cd/m² when full", () => {
    const sky = bareSky(toMoon, utcMs, true);
    const found = skyLuminanceCdM2(sky, utcMs, 45, 206.07 + 88);
    expect(found).toBeGreaterThan(3e-3);
    expect(found).toBeLessThan(6.5e-3);
  });

  it("stands in the picture where the ephemerides put it, to 0.05°, and half a degree wide", () => {
    const widthPx = 200;
    const frame = makeFramePicture({
      sky: bareSky(toMoon, utcMs, true),
      openedUtcMs: utcMs,
      exposure: { exposureSeconds: 0.002, iso: 100, fNumber: 8 },
      lens: { focalLengthMm: 400, isVignetting: false },
      widthPx,
      heightPx: widthPx,
    });
    const green = channelOf(frame, 1);
    let [sum, sx, sy] = [0, 0, 0];
    green.forEach((code, pixel) => {
      if (code < 60) return;
      sum += 1;
      sx += (pixel % widthPx) + 0.5;
      sy += Math.floor(pixel / widthPx) + 0.5;
    });
    const pxPerDeg = (400 / (36 / widthPx)) * (Math.PI / 180);
    expect(Math.hypot(sx / sum - 100, sy / sum - 100) / pxPerDeg).toBeLessThan(0.05);
    // Diameter of the Moon: 0.49° to 0.56° over a month.
    const diameterDeg = (2 * Math.sqrt(sum / Math.PI)) / pxPerDeg;
    expect(diameterDeg).toBeGreaterThan(0.47);
    expect(diameterDeg).toBeLessThan(0.57);
  });
});
