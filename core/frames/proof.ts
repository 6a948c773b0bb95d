import type { Exposure } from "../exposure/exposure.ts";
import type { FrameRecord } from "../watch/frameRecord.ts";

/** A camera rounds what it writes to the nearest third of a stop at worst. Source: Exif ladders, common practice. */
const ROUNDING_STOPS = 1 / 3 + 0.05;

/**
 * In what a picture's own exposure contradicts the frame that it is kept for; null: in nothing.
 *
 * @param known  What happened as the host saw it.
 * @param reported  What the file says of itself.
 * @param slackSeconds  By how much the host's own timing of the exposure may be off.
 */
export function contradictionOf(
  known: Exposure,
  reported: Pick<Exposure, "exposureSeconds" | "iso">,
  slackSeconds: number,
): string | null {
  const isOffBy = (one: number, other: number): boolean =>
    Math.abs(Math.log2(one / other)) > ROUNDING_STOPS;
  const isLengthOff =
    isOffBy(known.exposureSeconds, reported.exposureSeconds) &&
    Math.abs(known.exposureSeconds - reported.exposureSeconds) > slackSeconds;
  if (!isLengthOff && !isOffBy(known.iso, reported.iso)) return null;
  const text = ({ exposureSeconds, iso }: Pick<Exposure, "exposureSeconds" | "iso">): string =>
    `${Number(exposureSeconds.toPrecision(3))} s at ISO ${Math.round(iso)}`;
  return `its file says ${text(reported)}, the frame was ${text(known)}: it may be another picture`;
}

/**
 * As `contradictionOf`, for a picture that is to be given to a frame: where nobody saw the shutter
 * close, its length is not known, and only the ISO speaks.
 */
export function doubtOf(
  { happened, ordered }: Pick<FrameRecord, "happened" | "ordered">,
  reported: Pick<Exposure, "exposureSeconds" | "iso">,
  slackSeconds: number,
): string | null {
  const known = happened ?? { ...ordered, exposureSeconds: reported.exposureSeconds };
  return contradictionOf(known, reported, slackSeconds);
}
