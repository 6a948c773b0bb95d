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

/** What a picture says of itself; null: it does not say. */
export type PictureWord = {
  readonly exposure: Pick<Exposure, "exposureSeconds" | "iso"> | null;
  /** By the camera's clock as it was measured. */
  readonly takenUtcMs: number | null;
};

/** How far each word may be off. */
export type ProofSlack = {
  /** The host's own timing of an exposure. */
  readonly seconds: number;
  /** A clock of whole seconds that says opening or closing, against ours. */
  readonly clockMs: number;
};

/**
 * Why a picture is not this frame's, by its exposure, its ISO and the time at which it was taken;
 * null: nothing speaks against it.
 */
export function alibiOf(
  frame: FrameRecord,
  { exposure, takenUtcMs }: PictureWord,
  slack: ProofSlack,
): string | null {
  const doubt = exposure === null ? null : doubtOf(frame, exposure, slack.seconds);
  if (doubt !== null) return doubt;
  if (takenUtcMs === null || frame.openedUtcMs === null) return null;
  const { exposureSeconds } = frame.happened ?? frame.ordered;
  const fromMs = frame.openedUtcMs - slack.clockMs;
  const toMs = frame.openedUtcMs + exposureSeconds * 1000 + slack.clockMs;
  if (takenUtcMs >= fromMs && takenUtcMs <= toMs) return null;
  const offSeconds = Math.round(
    (takenUtcMs < fromMs ? takenUtcMs - frame.openedUtcMs : takenUtcMs - toMs) / 1000,
  );
  return `it was taken ${Math.abs(offSeconds)} s ${offSeconds < 0 ? "before" : "after"} the frame`;
}

/**
 * The one frame whose picture this is by its time together with exposure and ISO, where it tells
 * them; null: none, or more than one.
 *
 * @param frames  Those that still have no file.
 */
export function ownerOf(
  frames: readonly FrameRecord[],
  word: PictureWord,
  slack: ProofSlack,
): FrameRecord | null {
  if (word.takenUtcMs === null) return null;
  const fits = frames.filter(
    (frame) => frame.openedUtcMs !== null && alibiOf(frame, word, slack) === null,
  );
  return fits.length === 1 ? fits[0]! : null;
}
