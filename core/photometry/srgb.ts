/**
 * sRGB's tone curve and luminance.
 * Source: IEC 61966-2-1:1999 (curve) and ITU-R BT.709 (weights); from memory, their published
 * values are checked in the reference tests.
 */

/** The code that a neutral mid-grey is rendered to: 0.461 · 255. Source: ISO 12232 (SOS), from memory. */
export const MID_GREY_CODE = 118;

/** Weights of linear red, green and blue in luminance; they add up to 1. Source: ITU-R BT.709. */
export const LUMINANCE_WEIGHTS = { red: 0.2126, green: 0.7152, blue: 0.0722 } as const;

/** Linear light (0..1) of an encoded value (0..1); a value outside is clamped. */
export function decodeSrgb(encoded: number): number {
  const value = Math.min(1, Math.max(0, encoded));
  return value <= 0.04045 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4;
}

/** Encoded value (0..1) of linear light (0..1); light outside is clamped. */
export function encodeSrgb(linear: number): number {
  const value = Math.min(1, Math.max(0, linear));
  return value <= 0.0031308 ? value * 12.92 : 1.055 * value ** (1 / 2.4) - 0.055;
}

/** Linear light (0..1) of a code (0..255, fractions allowed). */
export function linearOfCode(code: number): number {
  return decodeSrgb(code / 255);
}
