import { RAD_PER_DEG } from "../sky/angles.ts";
import { seenHue, type Rgb } from "./colour.ts";
import { catalogueStars } from "../sky/starCatalogue.ts";
import type { Direction } from "../sky/direction.ts";

/** A star as it is drawn. */
export type SkyStar = {
  /** Unit vector on the equator and equinox of J2000. */
  readonly direction: Direction;
  /** Illuminance outside the air, lux. */
  readonly lux: number;
  /** What the filters see at a luminance of 1. */
  readonly hue: Rgb;
};

/** Illuminance of a star of magnitude 0, lux. Source: Allen, Astrophysical Quantities. */
const LUX_OF_ZERO_MAG = 2.54e-6;

/**
 * A star from its numbers.
 *
 * @param colourIndex  B − V, magnitudes.
 */
export function starOf(options: {
  readonly rightAscensionDeg: number;
  readonly declinationDeg: number;
  readonly magnitude: number;
  readonly colourIndex: number;
}): SkyStar {
  const { rightAscensionDeg, declinationDeg, magnitude, colourIndex } = options;
  const across = Math.cos(declinationDeg * RAD_PER_DEG);
  return {
    direction: [
      across * Math.cos(rightAscensionDeg * RAD_PER_DEG),
      across * Math.sin(rightAscensionDeg * RAD_PER_DEG),
      Math.sin(declinationDeg * RAD_PER_DEG),
    ],
    lux: luxOf(magnitude),
    hue: hueOf(colourIndex),
  };
}

function luxOf(magnitude: number): number {
  return LUX_OF_ZERO_MAG * 10 ** (-0.4 * magnitude);
}

/** Red and blue over green of a star, the Sun's B − V of 0.65 being grey. Common practice, no source. */
function hueOf(colourIndex: number): Rgb {
  const excess = Math.max(-1, Math.min(1.4, colourIndex - 0.65));
  return seenHue([10 ** (0.4 * 0.55 * excess), 1, 10 ** (-0.4 * 0.95 * excess)]);
}

/** Every star of the catalogue as it is drawn, brightest first. */
export function catalogueSkyStars(): readonly SkyStar[] {
  return catalogueStars().map(({ direction, magnitude, colourIndex }) => ({
    direction,
    lux: luxOf(magnitude),
    hue: hueOf(colourIndex),
  }));
}
