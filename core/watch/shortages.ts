import { monotonicMs, type MonotonicMs } from "../units.ts";
import type { WatchKnowledge, WatchState } from "./state.ts";

/** Something that fills up before the night is over. */
type Shortage = {
  readonly what: "card" | "disk";
  readonly fullMs: MonotonicMs;
  /** How much more room the rest of the night takes. */
  readonly moreBytes: number;
};

/**
 * Frames of dusk are short and follow fast, and would let any card look too small: the pace of the
 * night is taken to be this share of the longest exposure at least. Judgement.
 */
const LONGEST_SHARE_MIN = 0.5;

/**
 * Time from frame to frame that room is reckoned by: the present one, but not dusk's; null: not known.
 * Whatever says how long card or disk last says it by this.
 */
function paceMs({ frames: { cadenceMs }, settings }: WatchKnowledge): number | null {
  if (cadenceMs === null) return null;
  return Math.max(cadenceMs, LONGEST_SHARE_MIN * settings.exposure.exposureSecondsMax * 1000);
}

/**
 * When the card is full at the present pace.
 *
 * @returns null while neither its room nor the pace is known.
 */
export function cardFullMs(known: WatchKnowledge, nowMs: MonotonicMs): MonotonicMs | null {
  const everyMs = paceMs(known);
  if (everyMs === null || known.camera.freeFrames === null) return null;
  return monotonicMs(nowMs + known.camera.freeFrames * everyMs);
}

/**
 * When the next frame is due by the present pace, or the first one while the watch waits for dark.
 *
 * @returns null while nothing follows by itself, or too few frames tell the pace.
 */
export function nextFrameMs({ phase, known }: WatchState): MonotonicMs | null {
  const { lastOpenedMs, cadenceMs } = known.frames;
  switch (phase.kind) {
    case "waiting":
      return phase.startMs;
    case "between":
    case "ordered":
    case "exposing":
    case "closing":
    case "readingOut":
      if (lastOpenedMs === null || cadenceMs === null) return null;
      return monotonicMs(lastOpenedMs + cadenceMs);
    case "idle":
    case "connecting":
    case "paused":
    case "recovering":
    case "ending":
    case "finished":
      return null;
  }
}

/**
 * What fills up before the watch ends, at the present pace.
 *
 * @param room  `fileBytes`: the newest file on this computer's disk; what is null is not judged.
 * Accuracy: of the present pace; a change of exposure moves it.
 */
export function shortages(
  known: WatchKnowledge,
  room: {
    readonly nowMs: MonotonicMs;
    readonly endMs: MonotonicMs;
    readonly freeDiskBytes: number | null;
    readonly fileBytes: number | null;
  },
): readonly Shortage[] {
  const { freeFrames, freeBytes } = known.camera;
  const everyMs = paceMs(known);
  if (everyMs === null) return [];
  const { freeDiskBytes, fileBytes, nowMs, endMs } = room;
  const wantedFrames = (endMs - nowMs) / everyMs;
  const shortage = (what: "card" | "disk", frames: number, frameBytes: number): Shortage[] => {
    if (frames >= wantedFrames) return [];
    const moreBytes = (wantedFrames - frames) * frameBytes;
    return [{ what, fullMs: monotonicMs(nowMs + frames * everyMs), moreBytes }];
  };
  const card =
    freeFrames === null || freeFrames <= 0 || freeBytes === null
      ? []
      : shortage("card", freeFrames, freeBytes / freeFrames);
  const disk =
    freeDiskBytes === null || fileBytes === null || fileBytes <= 0
      ? []
      : shortage("disk", freeDiskBytes / fileBytes, fileBytes);
  return [...card, ...disk];
}
