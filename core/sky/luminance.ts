/**
 * Luminance of 0 mag/arcsec² in V, cd/m². Source: common constant of the sky-quality trade (no
 * source of its own); 0 mag = 2.54e-6 lx (Allen, Astrophysical Quantities) gives 10.806e4.
 */
const LUMINANCE_OF_ZERO_MAG_CD_M2 = 10.8e4;

/** One nanolambert in cd/m²: 1e-5 / π. By definition. */
export const CD_M2_PER_NANOLAMBERT = 1e-5 / Math.PI;

/** Luminance (cd/m²) of a surface brightness in V mag/arcsec². */
export function luminanceCdM2OfMag(magArcsec2: number): number {
  return LUMINANCE_OF_ZERO_MAG_CD_M2 * 10 ** (-0.4 * magArcsec2);
}

/** Surface brightness (V mag/arcsec²) of a luminance, cd/m², > 0; inverse of the above. */
export function magArcsec2Of(luminanceCdM2: number): number {
  return -2.5 * Math.log10(luminanceCdM2 / LUMINANCE_OF_ZERO_MAG_CD_M2);
}

/** Photographic stops of a difference in magnitudes: 2.5 log10 against log2. By definition. */
export function stopsOfMag(magnitudes: number): number {
  return magnitudes * 0.4 * Math.log2(10);
}
