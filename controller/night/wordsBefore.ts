import type { ExposureSettings } from "../../core/exposure/settings.ts";
import type { StartOrder, WatchEvent } from "../../core/watch/events.ts";
import { type HandWord } from "../../core/watch/handWord.ts";
import { handWordAfterBreak } from "../../core/watch/handWordAfter.ts";
import type { Catalogue } from "../archive/catalogue.ts";

/** Events by which the photographer, or a start, says what a watch is to do. */
const WORDS = ["started", "paused", "resumed", "stopped", "settingsChanged"] as const;

/** What the photographer last said of a camera's watch in this night, for a start that goes on with it. */
export function wordBefore(catalogue: Catalogue, cameraId: string): HandWord {
  return handWordAfterBreak(wordsOf(catalogue, cameraId));
}

/** Settings that were changed by hand in this night hold for every later start of its watch. */
export function withSettingsByHand<T extends Pick<StartOrder, "settings">>(
  order: T,
  catalogue: Catalogue,
  cameraId: string,
): T {
  const changed = wordsOf(catalogue, cameraId).reduce<Partial<ExposureSettings>>(
    (all, event) => (event.kind === "settingsChanged" ? { ...all, ...event.exposure } : all),
    {},
  );
  const exposure = { ...order.settings.exposure, ...changed };
  return { ...order, settings: { ...order.settings, exposure } };
}

function wordsOf(catalogue: Catalogue, cameraId: string): readonly WatchEvent[] {
  return catalogue.eventsOf(WORDS).flatMap(({ atMs, kind, body }) => {
    const { cameraId: of, ...rest } = body as { cameraId?: string };
    return of === cameraId ? [{ ...rest, kind, atMs } as WatchEvent] : [];
  });
}
