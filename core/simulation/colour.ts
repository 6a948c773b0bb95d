/** Linear red, green and blue, as luminance in cd/m²: grey has three times its luminance. */
export type Rgb = readonly [red: number, green: number, blue: number];

/**
 * What the sensor's filters see of linear sRGB light, white balance applied; each row adds up to 1,
 * so that grey stays grey. The green row is BT.709's: a green filter comes close to the eye's
 * curve, and so green electrons follow luminance. Invented within that bound.
 */
const SEEN: readonly [Rgb, Rgb, Rgb] = [
  [0.85, 0.13, 0.02],
  [0.2126, 0.7152, 0.0722],
  [0.02, 0.18, 0.8],
];

/** From what the filters saw back to linear sRGB: the camera's colour matrix, row by row. */
export const COLOUR_MATRIX: readonly [Rgb, Rgb, Rgb] = invert(SEEN);

/** Linear sRGB light as the filters see it. */
export function seenOf([red, green, blue]: Rgb): Rgb {
  const row = ([r, g, b]: Rgb): number => r * red + g * green + b * blue;
  return [row(SEEN[0]), row(SEEN[1]), row(SEEN[2])];
}

/** A colour as the filters see it, scaled to a luminance of 1. */
export function seenHue(colour: Rgb): Rgb {
  const seen = seenOf(colour);
  return [seen[0] / seen[1], 1, seen[2] / seen[1]];
}

/**
 * What the filters see of one kilorayleigh of a line, as luminance in cd/m². Green is photopic
 * luminance: photons · hc/λ · 683 · V(λ). Red and blue follow from equal photons through filters
 * of equal height, white balance applied.
 * Source: rayleigh after Hunten, Roach and Chamberlain 1956; V(λ) 0.9986, 0.265, 0.0096 and 0.032
 * (CIE 1924); the leak of each line into the other filters is common practice, no source.
 */
export const SEEN_PER_KILORAYLEIGH = {
  /** O(1S) 557.7 nm. */
  green: [7.3e-5, 1.933e-4, 3.1e-5],
  /** O(1D) 630.0 nm. */
  red: [2.2e-4, 4.5e-5, 6e-6],
  /** N2 first positive, 640 to 690 nm. */
  crimson: [1.8e-4, 5.2e-6, 5e-6],
  /** N2+ first negative, 427.8 nm. */
  violet: [1.2e-5, 2.4e-6, 2e-4],
} as const satisfies Record<string, Rgb>;

/** The lines' and bands' middles, nm. Source: as beside `SEEN_PER_KILORAYLEIGH`. */
export const LINE_NM: Readonly<Record<keyof typeof SEEN_PER_KILORAYLEIGH, number>> = {
  green: 557.7,
  red: 630,
  crimson: 670,
  violet: 427.8,
};

function invert([a, b, c]: readonly [Rgb, Rgb, Rgb]): readonly [Rgb, Rgb, Rgb] {
  const cross = (p: Rgb, q: Rgb): Rgb => [
    p[1] * q[2] - p[2] * q[1],
    p[2] * q[0] - p[0] * q[2],
    p[0] * q[1] - p[1] * q[0],
  ];
  const [u, v, w] = [cross(b, c), cross(c, a), cross(a, b)];
  const determinant = a[0] * u[0] + a[1] * u[1] + a[2] * u[2];
  const row = (index: 0 | 1 | 2): Rgb => [
    u[index] / determinant,
    v[index] / determinant,
    w[index] / determinant,
  ];
  return [row(0), row(1), row(2)];
}
