import { middleOf } from "../statistics.ts";
import { observeActivity, startSurgeWatch } from "../activity/surge.ts";
import type { FrameObservation } from "../exposure/observation.ts";
import type { GapNotice, SurgeNotice } from "./notices.ts";
import type { FrameRecord } from "../watch/frameRecord.ts";
import { observationOf } from "../watch/knowledge.ts";
import { monotonicMs, utcMs, type MonotonicMs, type UtcMs } from "../units.ts";

/** The frames' readings as the watch saw them; frames without a reading add nothing. */
export function observationsOf(
  frames: readonly FrameRecord[],
  onClock: (openedUtcMs: UtcMs) => MonotonicMs,
): readonly FrameObservation[] {
  return frames.flatMap(({ frameIndex, openedUtcMs, happened, reading }) =>
    openedUtcMs === null || happened === null || reading === null
      ? []
      : [observationOf({ frameIndex, openedMs: onClock(openedUtcMs), happened }, reading)],
  );
}

/** Surges of one camera's night, found from its readings again, in order. */
export function surgesOf(frames: readonly FrameRecord[]): readonly SurgeNotice[] {
  const surges: SurgeNotice[] = [];
  let state = startSurgeWatch();
  // Only differences of time matter to the surge watch, so UTC serves as the night's clock.
  for (const observation of observationsOf(frames, monotonicMs)) {
    const step = observeActivity(state, observation);
    state = step.state;
    const nowUtcMs = utcMs(observation.openedMs);
    const open = surges.at(-1);
    if (step.change === "onset") {
      surges.push({ startUtcMs: nowUtcMs, endUtcMs: null, riseStops: step.riseStops });
    } else if (open !== undefined && open.endUtcMs === null) {
      const riseStops = Math.max(open.riseStops, step.riseStops);
      const endUtcMs = step.change === "end" ? nowUtcMs : null;
      surges[surges.length - 1] = { ...open, riseStops, endUtcMs };
    }
  }
  return surges;
}

/** A pause is a gap when it is this much longer than usual, and at least so long. */
const GAP_FACTOR = 4;
const GAP_SECONDS_MIN = 60;

/** Stretches without a kept frame of one camera that its cadence does not explain. */
export function gapsOf(frames: readonly FrameRecord[]): readonly GapNotice[] {
  const kept = frames.filter((frame) => frame.status === "kept" && frame.openedUtcMs !== null);
  const pauses = kept.slice(1).map((frame, n) => frame.openedUtcMs! - kept[n]!.openedUtcMs!);
  const usualMs = middleOf(pauses) ?? 0;
  const limitMs = Math.max(GAP_SECONDS_MIN * 1000, GAP_FACTOR * usualMs);
  return pauses.flatMap((pauseMs, n) => {
    const [before, after] = [kept[n]!, kept[n + 1]!];
    // At sentinel pace long pauses are meant.
    const isMeant = before.pace === "sentinel" && pauseMs < 30 * 60_000;
    if (pauseMs <= limitMs || isMeant) return [];
    const missing = after.frameIndex - before.frameIndex - 1;
    const why = missing > 0 ? `${missing} frames missing` : "no frame was taken";
    return [{ startUtcMs: before.openedUtcMs!, endUtcMs: after.openedUtcMs, why }];
  });
}
