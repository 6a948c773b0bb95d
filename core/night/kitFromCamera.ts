import type { KitInput } from "./kit.ts";

/** What of a kit a connected camera may tell; empty or `null`: it does not. */
export type CameraKitFacts = {
  /** f-numbers that can be set, any order. */
  readonly fNumberLadder: readonly number[];
  readonly focalLengthMm: number | null;
  readonly imageWidthPx: number | null;
  readonly freeBytes: number | null;
};

/** A kit with the camera's word in it, and which of its fields that concerns. */
export type ToldKit = { readonly input: KitInput; readonly told: readonly (keyof KitInput)[] };

/**
 * A kit in which what the camera tells replaces what was typed: the widest aperture, the focal
 * length, the image's width (the pixel pitch then follows from the sensor's class), the room on
 * the card. Values that make no sense, as a focal length of 0 of a lens without contacts, are
 * passed over.
 */
export function kitFromCamera(input: KitInput, facts: CameraKitFacts): ToldKit {
  const isPositive = (value: number | null): value is number => value !== null && value > 0;
  const widest = Math.min(...facts.fNumberLadder.filter((fNumber) => fNumber > 0));
  const told: Partial<KitInput> = {
    ...(Number.isFinite(widest) ? { fNumberWidest: widest } : {}),
    ...(isPositive(facts.focalLengthMm) ? { focalLengthMm: facts.focalLengthMm } : {}),
    ...(isPositive(facts.imageWidthPx)
      ? { imageWidthPx: facts.imageWidthPx, pixelPitchUm: null }
      : {}),
    ...(isPositive(facts.freeBytes) ? { cardBytes: facts.freeBytes } : {}),
  };
  return { input: { ...input, ...told }, told: Object.keys(told) as (keyof KitInput)[] };
}
