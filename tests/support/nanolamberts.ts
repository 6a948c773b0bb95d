/**
 * Nanolamberts of a V magnitude per square arc second.
 * Source: Krisciunas and Schaefer 1991, PASP 103:1033, eq. 1, after Garstang (constants from memory).
 */
export function nanolambertOfMag(magArcsec2: number): number {
  return 34.08 * Math.exp(20.7233 - 0.92104 * magArcsec2);
}

/** V mag/arcsec² of nanolamberts, > 0; inverse of the above. */
export function magArcsec2OfNanolambert(nanolambert: number): number {
  return (20.7233 - Math.log(nanolambert / 34.08)) / 0.92104;
}
