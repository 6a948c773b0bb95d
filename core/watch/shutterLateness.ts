import { nearestRankOf } from "../statistics.ts";
import type { MonotonicMs } from "../units.ts";
import { timingWords } from "../words/timingWords.ts";
import type { ShutterClosing } from "./events.ts";
import { clearGuard, raiseGuard } from "./raiseGuard.ts";
import { withCamera } from "./knownParts.ts";
import type { WatchKnowledge } from "./state.ts";

/**
 * The lateness is that which one frame in ten reaches, of the latest fifty: a single stray frame
 * spoils no film, one in ten flickers in it; and fifty frames are some minutes, so that the note
 * goes soon after the busy program has. Judgement.
 */
const SHARE = 0.9;
const FRAME_COUNT_MAX = 50;
/** Below this the tenth part is hardly two frames, which chance may bring. Judgement. */
const FRAME_COUNT_MIN = 20;
/** A frame of 1 s is off by 0.03 stop then, about what a film begins to show. Judgement. */
const LATE_MS = 20;
/** A note that is up stays up until it is this good again, so that it does not flicker. */
const GOOD_MS = 10;
/** The note names the lateness in steps, so that it does not change with every frame. */
const STEP_MS = 10;

/** Takes down how late a frame's shutter closed, and notes it when it is often too late. */
export function guardTiming(
  known: WatchKnowledge,
  closing: ShutterClosing | undefined,
  atMs: MonotonicMs,
): WatchKnowledge {
  if (!closing) return known;
  const { latestMs: before, reportedMs } = known.camera.lateness;
  const latestMs = [...before, Math.max(0, closing.lateMs)].slice(-FRAME_COUNT_MAX);
  const measuredMs = latestMs.length < FRAME_COUNT_MIN ? 0 : nearestRankOf(latestMs, SHARE);
  if (measuredMs <= (reportedMs === null ? LATE_MS : GOOD_MS)) {
    return clearGuard(withCamera(known, { lateness: { latestMs, reportedMs: null } }), "timing");
  }
  const worstMs = Math.max(reportedMs ?? 0, STEP_MS * Math.floor(measuredMs / STEP_MS));
  return raiseGuard(withCamera(known, { lateness: { latestMs, reportedMs: worstMs } }), atMs, {
    guard: "timing",
    level: "note",
    sentence: timingWords.closesLate(worstMs, closing.scheduling),
  });
}
