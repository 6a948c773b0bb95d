import { middleOf } from "../statistics.ts";
import type { FrameRecord } from "../watch/frameRecord.ts";

/** Why a frame set begins where it does. */
type CutReason = "first" | "pace" | "framing" | "focus" | "camera" | "gap" | "byHand";

/** Frames meant to be played together: contiguous, of one camera, one framing and one pace. */
export type FrameSet = {
  /** Camera and first frame, as in `cam-000042`: it stays when later frames are added. */
  readonly setId: string;
  readonly name: string;
  readonly cameraId: string;
  readonly beganBy: CutReason;
  /** Kept frames by rising index, all of them. */
  readonly frameIndices: readonly number[];
  /** First and last frame to be played; the whole set unless the photographer narrowed it. */
  readonly inFrameIndex: number;
  readonly outFrameIndex: number;
  /** Frames from in to out. */
  readonly frameCount: number;
  readonly startUtcMs: number | null;
  readonly endUtcMs: number | null;
  readonly pace: FrameRecord["pace"];
};

/** A moment at which the framing or the focus was changed on purpose. */
export type SetChange = {
  readonly cameraId: string;
  /** First frame after the change. */
  readonly frameIndex: number;
  readonly what: "framing" | "focus";
};

/** What the photographer did to the sets by hand. */
export type SetEdits = {
  /** The frame begins a set of its own. */
  readonly cuts: readonly { readonly cameraId: string; readonly frameIndex: number }[];
  /** The frame does not begin a set, whatever else says so. */
  readonly joins: readonly { readonly cameraId: string; readonly frameIndex: number }[];
  readonly names: Readonly<Record<string, string>>;
  readonly marks: Readonly<Record<string, { readonly in: number; readonly out: number }>>;
};

export const NO_EDITS: SetEdits = { cuts: [], joins: [], names: {}, marks: {} };

/**
 * A pause this many times longer than the frames around it tear a film apart.
 * Common practice, no source.
 */
const GAP_FACTOR = 4;

/** And no pause shorter than this does, seconds: a slow read-out is no gap. */
const GAP_SECONDS_MIN = 60;

/**
 * Cuts a night into frame sets: a new one where the camera, the pace, the framing or the focus
 * changed, after a gap, and where the photographer cut by hand.
 *
 * Frames that were not kept belong to no set. Zero frames give no set.
 *
 * @param frames  Of one night, by rising index; several cameras may be mixed.
 */
export function cutFrameSets(
  frames: readonly FrameRecord[],
  changes: readonly SetChange[] = [],
  edits: SetEdits = NO_EDITS,
): readonly FrameSet[] {
  const cameras = [...new Set(frames.map((frame) => frame.cameraId))].sort();
  return cameras.flatMap((cameraId) => {
    const kept = frames.filter((frame) => frame.cameraId === cameraId && frame.status === "kept");
    const runs: { frames: FrameRecord[]; beganBy: CutReason }[] = [];
    for (const [n, frame] of kept.entries()) {
      const reason = cutBefore(kept, n, changes, edits, cameras.length > 1);
      if (reason === null) runs.at(-1)!.frames.push(frame);
      else runs.push({ frames: [frame], beganBy: reason });
    }
    return runs.map((run, n) => describeSet(run.frames, run.beganBy, n, edits));
  });
}

function cutBefore(
  kept: readonly FrameRecord[],
  n: number,
  changes: readonly SetChange[],
  edits: SetEdits,
  hasSeveralCameras: boolean,
): CutReason | null {
  const frame = kept[n]!;
  const before = kept[n - 1];
  if (before === undefined) return hasSeveralCameras ? "camera" : "first";
  const isHere = (one: { cameraId: string; frameIndex: number }): boolean =>
    one.cameraId === frame.cameraId &&
    one.frameIndex > before.frameIndex &&
    one.frameIndex <= frame.frameIndex;
  if (edits.cuts.some(isHere)) return "byHand";
  if (edits.joins.some(isHere)) return null;
  const change = changes.find(isHere);
  if (change !== undefined) return change.what;
  if (frame.pace !== before.pace) return "pace";
  return isGap(kept, n) ? "gap" : null;
}

/** Longer than the cadence explains: idle time against the usual start to start around it. */
function isGap(kept: readonly FrameRecord[], n: number): boolean {
  const between = startToStartSeconds(kept, n);
  if (between === null) return false;
  const around: number[] = [];
  for (let k = Math.max(1, n - 5); k <= Math.min(kept.length - 1, n + 5); k += 1) {
    const seconds = k === n ? null : startToStartSeconds(kept, k);
    if (seconds !== null) around.push(seconds);
  }
  const usual = middleOf(around) ?? 0;
  return between > Math.max(GAP_SECONDS_MIN, GAP_FACTOR * usual);
}

function startToStartSeconds(kept: readonly FrameRecord[], n: number): number | null {
  const [before, frame] = [kept[n - 1]?.openedUtcMs ?? null, kept[n]?.openedUtcMs ?? null];
  return before === null || frame === null ? null : (frame - before) / 1000;
}

function describeSet(
  frames: readonly FrameRecord[],
  beganBy: CutReason,
  n: number,
  edits: SetEdits,
): FrameSet {
  const first = frames[0]!;
  const frameIndices = frames.map((frame) => frame.frameIndex);
  const setId = `${first.cameraId}-${String(first.frameIndex).padStart(6, "0")}`;
  const mark = edits.marks[setId];
  const played = frameIndices.filter(
    (index) => mark === undefined || (index >= mark.in && index <= mark.out),
  );
  const chosen = played.length === 0 ? frameIndices : played;
  return {
    setId,
    name: edits.names[setId] ?? `Set ${n + 1}${first.pace === "sentinel" ? ", sentinel pace" : ""}`,
    cameraId: first.cameraId,
    beganBy,
    frameIndices,
    inFrameIndex: chosen[0]!,
    outFrameIndex: chosen.at(-1)!,
    frameCount: chosen.length,
    startUtcMs: first.openedUtcMs,
    endUtcMs: frames.at(-1)!.openedUtcMs,
    pace: first.pace,
  };
}
