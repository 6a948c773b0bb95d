import type { StarField } from "../photometry/starWidth.ts";

/** A point of light in the picture that may be a star. */
export type Detection = {
  /** From the left edge of the first pixel; the middle of a pixel ends in .5. */
  readonly xPx: number;
  readonly yPx: number;
  /** Light over the sky's, at any scale that is the same for all. */
  readonly light: number;
};

/** Points that the star finder measured; its pixel n has its middle at n, here at n + 0.5. */
export function detectionsOf(field: StarField): readonly Detection[] {
  return field.stars.map(({ x, y, light }) => ({ xPx: x + 0.5, yPx: y + 0.5, light }));
}
