import { expect, test } from "vitest";
import { type Exposure } from "../../core/exposure/exposure.ts";
import { stopsBetween } from "../support/stopsBetween.ts";
import {
  apertureValue,
  exposureValue,
  sceneExposureValue100,
  speedValue,
  timeValue,
} from "../support/apex.ts";

// Source: APEX as in Exif 2.3 Annex C, with Sv = log2(S / 3.125).

test("Av of f/2.8 is 2.9709, of f/1 0 and of f/4 4", () => {
  expect(apertureValue(2.8)).toBeCloseTo(2.9709, 4);
  expect(apertureValue(1)).toBe(0);
  expect(apertureValue(4)).toBe(4);
});

test("Tv of 15 s is -3.9069, of 1 s 0 and of 1/60 s 5.907", () => {
  expect(timeValue(15)).toBeCloseTo(-3.9069, 4);
  expect(timeValue(1)).toBeCloseTo(0, 12);
  expect(timeValue(1 / 60)).toBeCloseTo(5.907, 3);
});

test("Sv of ISO 100 is 5 and of ISO 1600 is 9", () => {
  expect(speedValue(100)).toBe(5);
  expect(speedValue(1600)).toBe(9);
});

test("a scene of 1e-3 cd/m² has EV100 -6.966 (ISO 2720, K = 12.5)", () => {
  expect(sceneExposureValue100(1e-3)).toBeCloseTo(-6.966, 2);
});

const at = (exposureSeconds: number, iso: number): Exposure => ({
  exposureSeconds,
  iso,
  fNumber: 2.8,
});

test("15 s at ISO 1600 is exactly 7.5 s at 3200 and 3.75 s at 6400", () => {
  expect(stopsBetween(at(15, 1600), at(7.5, 3200))).toBeCloseTo(0, 12);
  expect(stopsBetween(at(15, 1600), at(3.75, 6400))).toBeCloseTo(0, 12);
  expect(exposureValue(at(15, 1600)) + 1).toBeCloseTo(exposureValue(at(7.5, 3200)), 12);
});

// Common practice, no source: "15 s at 1600 = just below 10 s at 3200 = 4-5 s at 6400".
test.each([
  [9, 3200, 0.26],
  [10, 3200, 0.42],
  [4, 6400, 0.09],
  [5, 6400, 0.42],
])(
  "the trade's %f s at ISO %i is %f stop over 15 s at 1600, within half a stop",
  (s, iso, over) => {
    const stops = stopsBetween(at(15, 1600), at(s, iso));
    expect(stops).toBeCloseTo(over, 2);
    expect(Math.abs(stops)).toBeLessThan(0.5);
  },
);
