import { describe, expect, it } from "vitest";
import { catalogueSkyStars, type SkyStar } from "../../../core/simulation/stars.ts";

/** Right ascension, declination (J2000, degrees) and magnitude of a unit vector with its light. */
function numbersOf(star: SkyStar): { ra: number; dec: number; magnitude: number } {
  const [x, y, z] = star.direction;
  return {
    ra: ((Math.atan2(y, x) * 180) / Math.PI + 360) % 360,
    dec: (Math.asin(z) * 180) / Math.PI,
    magnitude: -2.5 * Math.log10(star.lux / 2.54e-6),
  };
}

describe("catalogue stars", () => {
  const stars = catalogueSkyStars();
  const numbers = stars.map(numbersOf);
  const near = (ra: number, dec: number) =>
    numbers.find(
      (star) => Math.hypot((star.ra - ra) * Math.cos((dec * Math.PI) / 180), star.dec - dec) < 0.02,
    );

  // Positions and magnitudes: Hoffleit, Bright Star Catalogue, 5th ed. (from memory, unconfirmed).
  it.each([
    ["Sirius", 101.2872, -16.7161, -1.46],
    ["Vega", 279.2347, 38.7837, 0.03],
    ["Capella", 79.1723, 45.998, 0.08],
    ["Polaris", 37.9546, 89.2641, 2.02],
    ["Dubhe", 165.932, 61.7508, 1.79],
  ])("hold %s where it stands, to 0.02° and 0.15 mag", (_name, ra, dec, magnitude) => {
    const star = near(ra, dec);
    expect(star).toBeDefined();
    expect(Math.abs(star!.magnitude - magnitude)).toBeLessThan(0.15);
  });

  it("come brightest first, unit vectors all, none fainter than 7.00", () => {
    expect(stars.length).toBeGreaterThan(15_000);
    for (let index = 1; index < stars.length; index += 1) {
      expect(stars[index]!.lux).toBeLessThanOrEqual(stars[index - 1]!.lux);
    }
    expect(numbers.at(-1)!.magnitude).toBeCloseTo(7, 2);
    for (const { direction } of stars) expect(Math.hypot(...direction)).toBeCloseTo(1, 9);
  });

  it("grow in number about threefold a magnitude, as the sky's stars do (from memory)", () => {
    const brighter = (limit: number): number =>
      numbers.filter(({ magnitude }) => magnitude <= limit).length;
    expect(brighter(5) / brighter(4)).toBeGreaterThan(2.5);
    expect(brighter(5) / brighter(4)).toBeLessThan(4);
  });

  it("are redder for Betelgeuse than for Rigel", () => {
    const at = (ra: number, dec: number): SkyStar =>
      stars[numbers.findIndex((star) => Math.hypot(star.ra - ra, star.dec - dec) < 0.05)]!;
    const [betelgeuse, rigel] = [at(88.793, 7.407), at(78.634, -8.202)];
    expect(betelgeuse.hue[0]).toBeGreaterThan(1.2 * rigel.hue[0]);
    expect(rigel.hue[2]).toBeGreaterThan(1.2 * betelgeuse.hue[2]);
  });
});
