import { RAD_PER_DEG } from "../sky/angles.ts";
import { seenHue, type Rgb } from "./colour.ts";
import { PACKED_STARS } from "./starCatalogue.ts";
import type { Direction } from "./view.ts";

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
    lux: LUX_OF_ZERO_MAG * 10 ** (-0.4 * magnitude),
    hue: hueOf(colourIndex),
  };
}

/** Red and blue over green of a star, the Sun's B − V of 0.65 being grey. Common practice, no source. */
function hueOf(colourIndex: number): Rgb {
  const excess = Math.max(-1, Math.min(1.4, colourIndex - 0.65));
  return seenHue([10 ** (0.4 * 0.55 * excess), 1, 10 ** (-0.4 * 0.95 * excess)]);
}

const DIGITS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
const DIGITS_PER_STAR = 9;

/** Every star of the catalogue, brightest first. Source: see `starCatalogue.ts`. */
export function catalogueStars(): readonly SkyStar[] {
  const values = new Uint8Array(128);
  for (let digit = 0; digit < 64; digit += 1) values[DIGITS.charCodeAt(digit)] = digit;
  const read = (at: number, count: number): number => {
    let value = 0;
    for (let index = 0; index < count; index += 1) {
      value = value * 64 + values[PACKED_STARS.charCodeAt(at + index)]!;
    }
    return value;
  };
  const stars: SkyStar[] = [];
  for (let at = 0; at < PACKED_STARS.length; at += DIGITS_PER_STAR) {
    stars.push(
      starOf({
        rightAscensionDeg: (read(at, 3) / 64 ** 3) * 360,
        declinationDeg: (read(at + 3, 3) / 64 ** 3) * 180 - 90,
        magnitude: read(at + 6, 2) / 100 - 2,
        colourIndex: read(at + 8, 1) * 0.05 - 0.5,
      }),
    );
  }
  return stars;
}

/**
 * Airmass toward the direction with this sine of the altitude; finite on the horizon (about 38).
 * Source: Rozenberg 1966: 1 / (sin h + 0.025 exp(−11 sin h)) (from memory).
 */
export function airmass(sinAltitude: number): number {
  const sine = Math.max(0, sinAltitude);
  return 1 / (sine + 0.025 * Math.exp(-11 * sine));
}
