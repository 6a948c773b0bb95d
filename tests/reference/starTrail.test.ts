import { expect, test } from "vitest";
import {
  npfSeconds,
  npfSimpleSeconds,
  rule500Seconds,
  SIDEREAL_ARCSEC_PER_SECOND,
  trailLimitSeconds,
} from "../../core/exposure/starTrail.ts";
import { trailPx } from "../support/trailPx.ts";

// Worked values at f/2.8 for bodies of 36, 23.5 and 17.3 mm width; drift from the sidereal rate, NPF
// after F. Michaud (Société Astronomique du Havre), the 500 rule as common practice. Tolerance 1 %.
const WORKED = [
  // width mm, pixels, f mm, drift in 15 s at declination 0 / 45 / 70, 500 rule, NPF simple, full k = 1, 2 px, 4 px
  [36, 6000, 14, 2.55, 1.8, 0.87, 35.7, 19.86, 9.35, 11.8, 23.5],
  [36, 6000, 16, 2.92, 2.06, 1.0, 31.2, 17.38, 8.19, 10.3, 20.6],
  [36, 6000, 20, 3.65, 2.58, 1.25, 25.0, 13.9, 6.58, 8.2, 16.5],
  [36, 6000, 24, 4.38, 3.09, 1.5, 20.8, 11.58, 5.5, 6.9, 13.7],
  [36, 8256, 14, 3.51, 2.48, 1.2, 35.7, 16.34, 7.75, 8.5, 17.1],
  [36, 8256, 24, 6.02, 4.26, 2.06, 20.8, 9.53, 4.56, 5.0, 10.0],
  [23.5, 6000, 10, 2.79, 1.97, 0.96, 32.7, 21.55, 10.2, 10.7, 21.5],
  [23.5, 6000, 11, 3.07, 2.17, 1.05, 29.7, 19.59, 9.28, 9.8, 19.5],
  [23.5, 6000, 18, 5.03, 3.55, 1.72, 18.2, 11.97, 5.71, 6.0, 11.9],
  [17.3, 5184, 12, 3.93, 2.78, 1.35, 20.8, 16.51, 7.85, 7.6, 15.3],
] as const;

const within = (value: number, expected: number, share: number): void => {
  expect(Math.abs(value - expected)).toBeLessThanOrEqual(Math.abs(expected) * share + 0.006);
};

// Four-thirds sensors are compared with full frame by their diagonal, the others by their width.
const cropFactor = (sensorMm: number): number => (sensorMm === 17.3 ? 2 : 36 / sensorMm);

test("the sky turns 15.0411 arcseconds a second", () => {
  expect(SIDEREAL_ARCSEC_PER_SECOND).toBeCloseTo(15.0411, 4);
});

test.each(WORKED)(
  "trail limits of a %f mm sensor with %i px at f = %i mm are the worked ones",
  (sensorMm, widthPx, focalLengthMm, d0, d45, d70, rule, simple, full, twoPx, fourPx) => {
    const optics = { focalLengthMm, pixelPitchUm: (sensorMm * 1000) / widthPx };
    within(trailPx(15, optics), d0, 0.01);
    within(trailPx(15, { ...optics, declinationDeg: 45 }), d45, 0.01);
    within(trailPx(15, { ...optics, declinationDeg: 70 }), d70, 0.01);
    within(rule500Seconds(focalLengthMm, cropFactor(sensorMm)), rule, 0.01);
    within(npfSimpleSeconds(2.8, optics), simple, 0.01);
    within(npfSeconds(2.8, optics), full, 0.01);
    within(npfSeconds(2.8, optics, 2), full * 2, 0.01);
    within(trailLimitSeconds(2, optics), twoPx, 0.01);
    within(trailLimitSeconds(4, optics), fourPx, 0.01);
  },
);

// Common practice, no source: "15 s with a wide lens is usually safe".
test("15 s is within the simplified NPF at 14-16 mm on full frame and not at 20 mm", () => {
  const at = (focalLengthMm: number) => npfSimpleSeconds(2.8, { focalLengthMm, pixelPitchUm: 6 });
  expect(at(14)).toBeGreaterThan(15);
  expect(at(16)).toBeGreaterThan(15);
  expect(at(20)).toBeLessThan(15);
});

test("a star at the pole never trails", () => {
  const pole = { focalLengthMm: 20, pixelPitchUm: 6, declinationDeg: 90 };
  expect(npfSeconds(2.8, pole)).toBe(Infinity);
  expect(trailPx(600, pole)).toBeLessThan(1e-10);
});
