/** What one frame is taken with. */
export type Exposure = {
  /** Time the shutter is open, seconds, > 0; continuous in bulb. */
  readonly exposureSeconds: number;
  /** ISO sensitivity, arithmetic. */
  readonly iso: number;
  /** Aperture as an f-number. */
  readonly fNumber: number;
};

/**
 * Share of the scene's light that reaches the focal plane: H = q · L · t / N².
 * Source: ISO 2720 and ISO 12232 (T = 0.9, v = 0.98, θ = 10°), from memory of both.
 */
export const FOCAL_PLANE_FACTOR = 0.65;

/** Mid-grey is H = 10 / S lux-seconds. Source: ISO 12232 (SOS), from memory. */
export const MID_GREY_LUX_SECONDS_ISO = 10;

/** A pixel saturates at H = 78 / S lux-seconds. Source: ISO 12232, from memory. */
export const SATURATION_LUX_SECONDS_ISO = 78;

/**
 * Stops from mid-grey at which a sky of this luminance is recorded; 0 is mid-grey.
 *
 * @param luminanceCdM2  Mean luminance over the exposure, > 0.
 */
export function stopsFromMidGrey(luminanceCdM2: number, exposure: Exposure): number {
  const luxSeconds =
    (FOCAL_PLANE_FACTOR * luminanceCdM2 * exposure.exposureSeconds) / exposure.fNumber ** 2;
  return Math.log2((luxSeconds * exposure.iso) / MID_GREY_LUX_SECONDS_ISO);
}

/** Scene luminance (cd/m²) of something recorded this many stops from mid-grey; inverse of the above. */
export function luminanceCdM2Of(stops: number, exposure: Exposure): number {
  return (
    (2 ** stops * MID_GREY_LUX_SECONDS_ISO * exposure.fNumber ** 2) /
    (FOCAL_PLANE_FACTOR * exposure.exposureSeconds * exposure.iso)
  );
}
