import type { WatchView } from "../../../core/api/messages.ts";
import { stretch } from "../format/time.ts";
import { words } from "../../../core/words/words.ts";
import { cadenceMs, type TracePoint } from "./tracePoint.ts";

/** One of the figures beside the state sentence. */
export type Remaining = {
  readonly key: "next" | "battery" | "card";
  readonly name: string;
  readonly value: string;
};

/**
 * When the next frame opens, judged by the pace of the newest ones.
 *
 * @returns null while nothing follows, or too few frames tell the pace.
 */
export function nextFrameUtcMs(watch: WatchView, points: readonly TracePoint[]): number | null {
  if (watch.phase === "waiting") return watch.startsUtcMs;
  const [newest, paceMs] = [points.at(-1), cadenceMs(points)];
  if (watch.phase !== "watching" || newest === undefined || paceMs === null) return null;
  return newest.openedUtcMs + paceMs;
}

/** Next frame, battery and card in hours of this night; what is not known is left out. */
export function remainingOf(
  watch: WatchView,
  { points, nowUtcMs }: { points: readonly TracePoint[]; nowUtcMs: number },
): readonly Remaining[] {
  const isOver = watch.phase === "finished" || watch.phase === "idle";
  if (isOver) return [];
  const list: Remaining[] = [];
  const nextUtcMs = nextFrameUtcMs(watch, points);
  if (nextUtcMs !== null) {
    const value = nextUtcMs > nowUtcMs ? stretch(nextUtcMs - nowUtcMs) : words.remaining.due;
    list.push({ key: "next", name: words.remaining.next, value });
  }
  const { batteryPercent, batteryEndsUtcMs } = watch;
  if (batteryEndsUtcMs !== null) {
    const value = stretch(batteryEndsUtcMs - nowUtcMs);
    list.push({ key: "battery", name: words.vitals.battery, value });
  } else if (batteryPercent !== null) {
    const value = `${Math.round(batteryPercent)}\u00a0%`;
    list.push({ key: "battery", name: words.vitals.battery, value });
  }
  const [frames, paceMs] = [watch.cardFreeFrames, cadenceMs(points)];
  if (frames !== null && paceMs !== null) {
    list.push({ key: "card", name: words.vitals.card, value: stretch(frames * paceMs) });
  }
  return list;
}
