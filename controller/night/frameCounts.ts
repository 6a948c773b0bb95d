import { NightError } from "../../core/errors.ts";

/** Frames of one run of the program: those with a picture, and those known to have none. */
export type FrameCounts = { readonly metered: number; readonly missing: number };

/**
 * A run that was asked for frames and ends without one picture has failed.
 *
 * @throws NightError `camera.frame_missing` when no picture came of any frame.
 */
export function requirePictures({ metered, missing }: FrameCounts): void {
  if (metered > 0 || missing === 0) return;
  const frames = missing === 1 ? "the frame" : `any of the ${missing} frames`;
  throw new NightError(
    "camera.frame_missing",
    `No picture came of ${frames}; the lines above say why.`,
  );
}
