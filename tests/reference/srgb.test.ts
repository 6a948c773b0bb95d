import { expect, test } from "vitest";
import { decodeSrgb, encodeSrgb, linearOfCode } from "../../core/photometry/srgb.ts";
import { luminanceOf } from "../support/luminanceOf.ts";

// Source: IEC 61966-2-1:1999 and ITU-R BT.709; the formulas are universally reproduced, the values
// below were computed from them independently.

test.each([
  [0.001, 0.01292],
  [0.01, 0.0998528],
  [0.05, 0.2478005],
  [0.18, 0.4613561],
  [0.5, 0.735357],
])("encodes linear %f as %f (IEC 61966-2-1)", (linear, encoded) => {
  expect(encodeSrgb(linear)).toBeCloseTo(encoded, 6);
});

test.each([
  [10, 0.00303527],
  [64, 0.0512695],
  [118, 0.1811642],
  [128, 0.2158605],
  [192, 0.5271151],
])("decodes code %i to linear %f (IEC 61966-2-1)", (code, linear) => {
  expect(linearOfCode(code)).toBeCloseTo(linear, 6);
});

test("joins its two parts at 0.0031308 and 0.04045 within 1e-6", () => {
  expect(encodeSrgb(0.0031308)).toBeCloseTo(0.04045, 5);
  expect(decodeSrgb(0.04045)).toBeCloseTo(0.0031308, 6);
  expect(decodeSrgb(0.0404501) - decodeSrgb(0.0404499)).toBeLessThan(1e-6);
});

test("weighs linear light by BT.709: white is 1, green 0.7152, red 0.2126, blue 0.0722", () => {
  expect(luminanceOf(1, 1, 1)).toBeCloseTo(1, 12);
  expect(luminanceOf(0, 1, 0)).toBe(0.7152);
  expect(luminanceOf(1, 0, 0)).toBe(0.2126);
  expect(luminanceOf(0, 0, 1)).toBe(0.0722);
});
