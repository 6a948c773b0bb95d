import { RAD_PER_DEG } from "./angles.ts";
import type { Direction } from "./direction.ts";
import stars from "./stars.json" with { type: "json" };

/** A star of the catalogue. */
type CatalogueStar = {
  /** Unit vector on the equator and equinox of J2000, where the star stood at the epoch J2000.0. */
  readonly direction: Direction;
  /** What is added to `direction` in a Julian year, radians; `null`: slower than the catalogue tells. */
  readonly motionPerYear: Direction | null;
  /** Visual magnitude. */
  readonly magnitude: number;
  /** B − V, magnitudes. */
  readonly colourIndex: number;
};

const RAD_PER_MAS = RAD_PER_DEG / 3_600_000;

/** Every star of the catalogue (magnitude 7.00 and brighter), brightest first. Source: in `stars.json`. */
export function catalogueStars(): readonly CatalogueStar[] {
  return stars.stars.map(([ra, dec, magnitude, colourIndex, motionRa, motionDec]) => {
    const [alpha, delta] = [ra! * RAD_PER_DEG, dec! * RAD_PER_DEG];
    const [sinRa, cosRa, sinDec, cosDec] = [
      Math.sin(alpha),
      Math.cos(alpha),
      Math.sin(delta),
      Math.cos(delta),
    ];
    return {
      direction: [cosDec * cosRa, cosDec * sinRa, sinDec],
      motionPerYear:
        motionRa === undefined || motionDec === undefined
          ? null
          : [
              RAD_PER_MAS * (-sinRa * motionRa - sinDec * cosRa * motionDec),
              RAD_PER_MAS * (cosRa * motionRa - sinDec * sinRa * motionDec),
              RAD_PER_MAS * cosDec * motionDec,
            ],
      magnitude: magnitude!,
      colourIndex: colourIndex!,
    };
  });
}
