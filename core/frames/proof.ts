import type { Exposure } from "../exposure/exposure.ts";

/** A camera rounds what it writes to the nearest third of a stop at worst. Source: Exif ladders, common practice. */
const ROUNDING_STOPS = 1 / 3 + 0.05;

/**
 * In what a picture's own exposure contradicts the frame that it is kept for; null: in nothing.
 *
 * @param known  What happened as the host saw it.
 * @param told  What the file says of itself.
 * @param slackSeconds  By how much the host's own timing of the exposure may be off.
 */
export function contradictionOf(
  known: Exposure,
  told: Pick<Exposure, "exposureSeconds" | "iso">,
  slackSeconds: number,
): string | null {
  const isOffBy = (one: number, other: number): boolean =>
    Math.abs(Math.log2(one / other)) > ROUNDING_STOPS;
  const isLengthOff =
    isOffBy(known.exposureSeconds, told.exposureSeconds) &&
    Math.abs(known.exposureSeconds - told.exposureSeconds) > slackSeconds;
  if (!isLengthOff && !isOffBy(known.iso, told.iso)) return null;
  const text = ({ exposureSeconds, iso }: Pick<Exposure, "exposureSeconds" | "iso">): string =>
    `${Number(exposureSeconds.toPrecision(3))} s at ISO ${Math.round(iso)}`;
  return `its file says ${text(told)}, the frame was ${text(known)}: it may be another picture`;
}
