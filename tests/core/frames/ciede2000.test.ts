import { expect, it } from "vitest";
import { ciede2000, labOfCodes, type Lab } from "../../support/ciede2000.ts";

/**
 * Pairs of colours and their difference. Source: Sharma, Wu & Dalal (2005), "The CIEDE2000
 * color-difference formula: implementation notes, supplementary test data", table 1; recalled from memory.
 */
const PAIRS: readonly (readonly [Lab, Lab, number])[] = [
  [[50, 2.6772, -79.7751], [50, 0, -82.7485], 2.0425],
  [[50, 3.1571, -77.2803], [50, 0, -82.7485], 2.8615],
  [[50, -1.3802, -84.2814], [50, 0, -82.7485], 1],
  [[50, 0, 0], [50, -1, 2], 2.3669],
  [[50, 2.49, -0.001], [50, -2.49, 0.0009], 7.1792],
  [[50, 2.49, -0.001], [50, -2.49, 0.0011], 7.2195],
  [[50, -0.001, 2.49], [50, 0.0009, -2.49], 4.8045],
  [[50, 2.5, 0], [50, 0, -2.5], 4.3065],
  [[50, 2.5, 0], [73, 25, -18], 27.1492],
  [[50, 2.5, 0], [61, -5, 29], 22.8977],
  [[50, 2.5, 0], [56, -27, -3], 31.903],
  [[50, 2.5, 0], [58, 24, 15], 19.4535],
  [[60.2574, -34.0099, 36.2677], [60.4626, -34.1751, 39.4387], 1.2644],
  [[22.7233, 20.0904, -46.694], [23.0331, 14.973, -42.5619], 2.0373],
  [[90.8027, -2.0831, 1.441], [91.1528, -1.6435, 0.0447], 1.4441],
  [[2.0776, 0.0795, -1.135], [0.9033, -0.0636, -0.5514], 0.9082],
];

it.each(PAIRS)("differs between %j and %j by the published amount", (one, other, published) => {
  expect(ciede2000(one, other)).toBeCloseTo(published, 4);
});

it("finds white at L* 100 without colour", () => {
  const [lightness, a, b] = labOfCodes(255, 255, 255);
  expect(lightness).toBeCloseTo(100, 3);
  expect(Math.hypot(a, b)).toBeLessThan(0.05);
});
