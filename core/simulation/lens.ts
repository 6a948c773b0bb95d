/** A lens by its numbers; what is left out takes a good wide lens's value. */
export type SimulatedLens = {
  readonly focalLengthMm: number;
  /** Share of light that passes the glass, 0..1; default 0.85. Common practice, no source. */
  readonly transmission?: number;
  /** Darkening toward the corners; default true. */
  readonly isVignetting?: boolean;
  /**
   * Full width at half maximum of a focused star, pixels of the rendered picture; default: 12 µm
   * on the sensor, at least 1.5 pixels.
   */
  readonly starFwhmPx?: number;
  /** Distance of the sensor from the sharp image, µm; the blur disc is this over the f-number. */
  readonly focusErrorUm?: number;
  /** Dew on the front glass, 0 none .. 1 blind: stars widen and dim, a veil spreads. */
  readonly dewShare?: number;
};

/** Light that a lens passes if nothing else is said. Common practice, no source. */
export const LENS_TRANSMISSION = 0.85;

/** Distance of the exit pupil of a wide lens built for a reflex mirror, mm. Common practice, no source. */
const PUPIL_DISTANCE_MM = 40;

/** Mechanical loss in the extreme corner at f/2.8 and wider, as a share. Common practice, no source. */
const CORNER_LOSS = 0.45;

/** Distance of the extreme corner of the full-frame image circle, mm. */
const IMAGE_CIRCLE_MM = 21.63;

/**
 * Light at a distance from the picture's centre over that in the centre, 0..1: cos⁴ of the ray's
 * angle at the sensor, and the barrel's shadow, which goes away as the lens is stopped down.
 *
 * @param radiusMm  Distance from the centre on the sensor.
 * Source: the cos⁴ law of illumination, seen from the exit pupil; the barrel is common practice.
 */
export function vignetting(lens: SimulatedLens, fNumber: number, radiusMm: number): number {
  if (lens.isVignetting === false) return 1;
  const pupilMm = Math.max(PUPIL_DISTANCE_MM, lens.focalLengthMm);
  const natural = 1 / (1 + (radiusMm / pupilMm) ** 2) ** 2;
  const shadow = CORNER_LOSS * Math.min(1, (2.8 / fNumber) ** 2);
  return natural * (1 - shadow * Math.min(1, radiusMm / IMAGE_CIRCLE_MM) ** 4);
}

/**
 * Full width at half maximum of a star in the picture, pixels: focus, defocus and dew together.
 *
 * @param pitchUm  Size of a pixel of the rendered picture, µm.
 * Source: widths add in squares; a blur disc of diameter D is taken as a Gaussian of 0.8 D.
 */
export function starFwhmPx(lens: SimulatedLens, fNumber: number, pitchUm: number): number {
  const sharp = lens.starFwhmPx ?? Math.max(1.5, 12 / pitchUm);
  const disc = (0.8 * Math.abs(lens.focusErrorUm ?? 0)) / fNumber / pitchUm;
  return Math.hypot(sharp, disc) * (1 + 3 * dewShareOf(lens));
}

/** The lens's dew, within 0..1. */
export function dewShareOf(lens: SimulatedLens): number {
  return Math.min(1, Math.max(0, lens.dewShare ?? 0));
}
