/**
 * Airmass toward the direction with this sine of the altitude; finite on the horizon (about 38).
 * Source: Rozenberg 1966: 1 / (sin h + 0.025 exp(−11 sin h)) (from memory).
 */
export function airmass(sinAltitude: number): number {
  const sine = Math.max(0, sinAltitude);
  return 1 / (sine + 0.025 * Math.exp(-11 * sine));
}
