import { encodeSrgb } from "../photometry/srgb.ts";

/** Names of the curves a simulated camera may hide. */
export type ToneCurveName = "mild" | "contrasty" | "flat" | "offset";

/**
 * A camera's rendering of linear light into codes, the same for all three channels.
 *
 * Light passes a shoulder, then sRGB's encoding, then an S about mid-grey; the ends stay where they
 * are: saturation is code 255 and darkness is `blackCode`.
 */
export type ToneCurve = {
  readonly name: ToneCurveName;
  /** Lift of the darks over the brights by the shoulder, ≥ 0; 0.5 brings mid-grey to code 118. */
  readonly shoulder: number;
  /** Strength of the S about mid-grey, 0..1: the toe darker, the brights brighter. */
  readonly contrast: number;
  /** Code of darkness. */
  readonly blackCode: number;
};

/**
 * The curves. Invented; each within what picture styles do: toe contrast up to 1.4, a shoulder
 * from about 70 %. Common practice, no source.
 */
export const TONE_CURVES: Readonly<Record<ToneCurveName, ToneCurve>> = {
  mild: { name: "mild", shoulder: 0.5075, contrast: 0.12, blackCode: 0 },
  contrasty: { name: "contrasty", shoulder: 0.75, contrast: 0.45, blackCode: 0 },
  flat: { name: "flat", shoulder: 0.22, contrast: 0, blackCode: 0 },
  offset: { name: "offset", shoulder: 0.6, contrast: 0.2, blackCode: 9 },
};

/** Encoded mid-grey, about which the S turns: code 118. Source: ISO 12232 (SOS), from memory. */
const PIVOT = 118 / 255;

/**
 * Code (0..255, not rounded) of linear light, 1 being saturation (78 / S lux-seconds); light
 * outside 0..1 is clamped. Strictly rising in between.
 */
export function toneCode(curve: ToneCurve, linear: number): number {
  const light = Math.min(1, Math.max(0, linear));
  const lifted = (light * (1 + curve.shoulder)) / (1 + curve.shoulder * light);
  const encoded = encodeSrgb(lifted);
  const bent = encoded + curve.contrast * encoded * (1 - encoded) * (encoded - PIVOT) * 2;
  return curve.blackCode + (255 - curve.blackCode) * bent;
}

/**
 * A curve as a table for a renderer: light runs from `TONE_TABLE_FROM` in steps of
 * 1 / `TONE_TABLE_STEPS`, far enough below darkness and above white that no light that a colour
 * matrix makes of 0..1 and its grain needs to be held back first.
 */
export const TONE_TABLE_STEPS = 16384;
/** Linear light of the table's first entry; 1 is saturation. */
export const TONE_TABLE_FROM = -1.25;

/** Entries of the table, a power of two: light −1.25 .. 2.75. */
export const TONE_TABLE_COUNT = 4 * TONE_TABLE_STEPS;

/** Rounded codes, `TONE_TABLE_COUNT` of them. */
export function toneTable(curve: ToneCurve): Uint8Array {
  const table = new Uint8Array(TONE_TABLE_COUNT);
  const black = Math.round(toneCode(curve, 0));
  for (let index = 0; index < TONE_TABLE_COUNT; index += 1) {
    const linear = TONE_TABLE_FROM + index / TONE_TABLE_STEPS;
    table[index] = linear <= 0 ? black : linear >= 1 ? 255 : Math.round(toneCode(curve, linear));
  }
  return table;
}
