import type { WatchView } from "../../../core/api/messages.ts";
import { words } from "../../../core/words/words.ts";
import { stretch } from "../format/time.ts";

/** One of the figures beside the state sentence. */
export type Remaining = {
  readonly key: "next" | "battery" | "card";
  readonly name: string;
  readonly value: string;
};

/** Next frame, battery and card in hours of this night; what is not known is left out. */
export function remainingOf(watch: WatchView, nowUtcMs: number): readonly Remaining[] {
  if (watch.phase === "finished" || watch.phase === "idle") return [];
  const { nextFrameUtcMs, batteryPercent, batteryEndsUtcMs, cardEndsUtcMs } = watch;
  const list: Remaining[] = [];
  if (nextFrameUtcMs !== null) {
    const isDue = nextFrameUtcMs <= nowUtcMs;
    const value = isDue ? words.remaining.due : stretch(nextFrameUtcMs - nowUtcMs);
    list.push({ key: "next", name: words.remaining.next, value });
  }
  if (batteryEndsUtcMs !== null) {
    const value = stretch(batteryEndsUtcMs - nowUtcMs);
    list.push({ key: "battery", name: words.vitals.battery, value });
  } else if (batteryPercent !== null) {
    const value = `${Math.round(batteryPercent)}\u00a0%`;
    list.push({ key: "battery", name: words.vitals.battery, value });
  }
  if (cardEndsUtcMs !== null) {
    const value = stretch(cardEndsUtcMs - nowUtcMs);
    list.push({ key: "card", name: words.vitals.card, value });
  }
  return list;
}
