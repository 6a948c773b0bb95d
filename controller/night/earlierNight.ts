import { gapsOf, observationsOf, surgesOf } from "../../core/frames/timeline.ts";
import type { StartOrder } from "../../core/watch/events.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import type { GapSpan, SurgeSpan } from "../../core/watch/state.ts";
import { monotonicMs, type MonotonicMs, type UtcMs } from "../../core/units.ts";
import type { Catalogue } from "../archive/catalogue.ts";

/** Frames of an earlier stretch that the governor learns from. */
const HISTORY_FRAMES = 40;

/** What the night's frames so far tell a watch that goes on after a break. */
export function earlierNight(
  catalogue: Catalogue,
  cameraId: string,
  nightStartUtcMs: UtcMs,
): Pick<StartOrder, "nextFrameIndex" | "history" | "earlier"> {
  const nextFrameIndex = catalogue.nextFrameIndex(cameraId);
  const frames = catalogue.frames({ cameraId, fromIndex: 0, count: Number.MAX_SAFE_INTEGER });
  const onClock = (at: UtcMs): MonotonicMs => monotonicMs(at - nightStartUtcMs);
  return {
    nextFrameIndex,
    history: observationsOf(frames.slice(-HISTORY_FRAMES), onClock),
    earlier: { surges: earlierSurges(frames, onClock), gaps: earlierGaps(frames, onClock) },
  };
}

type OnClock = (at: UtcMs) => MonotonicMs;

/** A surge that the break cut off ends with the last frame before it. */
function earlierSurges(frames: readonly FrameRecord[], onClock: OnClock): readonly SurgeSpan[] {
  const lastUtcMs = frames.findLast(({ openedUtcMs }) => openedUtcMs !== null)?.openedUtcMs;
  return surgesOf(frames).map(({ startUtcMs, endUtcMs, riseStops }) => ({
    startMs: onClock(startUtcMs),
    endMs: onClock(endUtcMs ?? lastUtcMs ?? startUtcMs),
    riseStops,
  }));
}

/** The break itself is the last of the gaps, open until a shutter opens again. */
function earlierGaps(frames: readonly FrameRecord[], onClock: OnClock): readonly GapSpan[] {
  const gaps = gapsOf(frames).map(({ startUtcMs, endUtcMs, why }) => ({
    startMs: onClock(startUtcMs),
    endMs: endUtcMs === null ? null : onClock(endUtcMs),
    why,
  }));
  const last = frames.findLast(({ openedUtcMs }) => openedUtcMs !== null);
  if (!last || last.openedUtcMs === null) return gaps;
  const { exposureSeconds } = last.happened ?? last.ordered;
  const startMs = monotonicMs(onClock(last.openedUtcMs) + exposureSeconds * 1000);
  return [...gaps, { startMs, endMs: null, why: "no watch was running" }];
}
