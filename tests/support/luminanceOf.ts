import { LUMINANCE_WEIGHTS } from "../../core/photometry/srgb.ts";

/** Luminance (0..1) of linear red, green and blue. */
export function luminanceOf(red: number, green: number, blue: number): number {
  return (
    LUMINANCE_WEIGHTS.red * red + LUMINANCE_WEIGHTS.green * green + LUMINANCE_WEIGHTS.blue * blue
  );
}
