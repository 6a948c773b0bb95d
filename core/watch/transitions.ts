import type { MonotonicMs } from "../units.ts";
import { dueMs, lastFramesMs, later, silentMs } from "./deadlines.ts";
import type { WatchEffect } from "./effects.ts";
import type { WatchEvent } from "./events.ts";
import { openGap } from "../night/gaps.ts";
import { raiseGuard } from "./guardNotice.ts";
import { endReason } from "./guards.ts";
import { readingDueMs } from "./readingGrace.ts";
import { orderFrame } from "./orderFrame.ts";
import type { After, EndedBy, WatchState } from "./state.ts";
import { enter, stay, withEffects, type WatchStep } from "./watchStep.ts";

/** Battery and card are asked for no more often than this. */
const STATUS_EVERY_MS = 60_000;
/** A camera that is not in manual is looked at again after this long. */
const DIAL_RETRY_MS = 10_000;
/** Waits between attempts to reconnect; the last one repeats. */
const RETRY_WAITS_MS = [500, 1000, 2000, 4000, 8000, 15_000, 60_000];

/** A frame that came, or came to nothing, and what was to come after it. */
type FrameInHand = { readonly frameIndex: number; readonly after: After };

/** What comes after a frame: the next one, a pause, or the end. */
export function goOn(state: WatchState, atMs: MonotonicMs, after: After): WatchStep {
  if (after === "paused") return pause(state, atMs);
  if (after !== "next") return end(state, atMs, after);
  const readingMs = readingDueMs(state, atMs);
  return readingMs > atMs ? between(state, readingMs) : proceed(state, atMs);
}

/** The camera is ready: end, wait, or order the next frame. */
export function proceed(state: WatchState, atMs: MonotonicMs): WatchStep {
  const by = endReason(state, atMs);
  if (by) return end(state, atMs, by);
  const { startMs } = state.settings;
  if (startMs !== null && atMs < startMs) {
    return enter(state, { kind: "waiting", startMs }, [{ kind: "wake", atMs: startMs }]);
  }
  const asks = state.statusAskedMs === null || atMs - state.statusAskedMs >= STATUS_EVERY_MS;
  if (asks) {
    return withEffects([{ kind: "readStatus" }], next({ ...state, statusAskedMs: atMs }, atMs));
  }
  return next(state, atMs);
}

function next(state: WatchState, atMs: MonotonicMs): WatchStep {
  const notBeforeMs = dueMs(state, atMs);
  return notBeforeMs > atMs ? between(state, notBeforeMs) : orderFrame(state, atMs);
}

function between(state: WatchState, notBeforeMs: MonotonicMs): WatchStep {
  return enter(state, { kind: "between", notBeforeMs }, [{ kind: "wake", atMs: notBeforeMs }]);
}

/** A frame that was ordered came to nothing. */
export function frameFailed(
  state: WatchState,
  { frameIndex, after }: FrameInHand,
  event: Extract<WatchEvent, { kind: "cameraFailed" }>,
): WatchStep {
  const { atMs, sentence } = event;
  const isAnother = event.frameIndex !== null && event.frameIndex !== frameIndex;
  if (isAnother && !event.gone) return stay(state, sentence);
  const then = after === "next" ? recover(state, atMs, sentence, 0) : goOn(state, atMs, after);
  return withEffects([{ kind: "markMissing", frameIndex, why: sentence }], then);
}

/** The camera is silent with a frame in hand; reconnecting lets go of whatever is held. */
export function lost(
  state: WatchState,
  { frameIndex, after }: FrameInHand,
  atMs: MonotonicMs,
): WatchStep {
  const sentence = "The camera went silent during a frame; Nattvakt is reconnecting.";
  const missing: WatchEffect = { kind: "markMissing", frameIndex, why: sentence };
  if (after === "next" || after === "paused") {
    return withEffects([missing], recover(state, atMs, sentence, 0));
  }
  // The shutter may still be open: closing the camera opens the contact whatever happened.
  const closeMs = lastFramesMs(state, atMs);
  return enter(state, { kind: "ending", by: after, closeMs }, [
    missing,
    { kind: "closeCamera" },
    { kind: "wake", atMs: closeMs },
  ]);
}

/** Connects the camera; `attemptCount` is 1 for the first attempt. */
export function connect(state: WatchState, atMs: MonotonicMs, attemptCount: number): WatchStep {
  const deadlineMs = silentMs(state, atMs);
  return enter(state, { kind: "connecting", attemptCount, deadlineMs }, [
    { kind: "connectCamera" },
    { kind: "wake", atMs: deadlineMs },
  ]);
}

/** The camera is gone: it is tried again, quickly at first, then once a minute, all night. */
export function recover(
  state: WatchState,
  atMs: MonotonicMs,
  sentence: string,
  attemptCount: number,
): WatchStep {
  const waitMs = RETRY_WAITS_MS[attemptCount] ?? RETRY_WAITS_MS.at(-1)!;
  const isLong = attemptCount >= state.settings.quickAttemptCount;
  const guarded = raiseGuard(openGap(state, atMs, sentence), atMs, {
    guard: "camera",
    level: isLong ? "stop" : "warning",
    sentence,
  });
  return retryAt(guarded, later(atMs, waitMs), attemptCount, sentence);
}

/** The camera is there but cannot be used as its dial stands. */
export function lookAgain(state: WatchState, atMs: MonotonicMs, sentence: string): WatchStep {
  const guarded = raiseGuard(state, atMs, { guard: "camera", level: "stop", sentence });
  return retryAt(guarded, later(atMs, DIAL_RETRY_MS), 0, sentence);
}

function retryAt(
  state: WatchState,
  retryMs: MonotonicMs,
  attemptCount: number,
  sentence: string,
): WatchStep {
  return enter(state, { kind: "recovering", attemptCount, retryMs, sentence }, [
    { kind: "wake", atMs: retryMs },
  ]);
}

/** Pauses by hand; the time until going on is a gap of the night. */
export function pause(state: WatchState, atMs: MonotonicMs): WatchStep {
  return enter(openGap(state, atMs, "paused by hand"), { kind: "paused" });
}

/** The end: the camera is let go of once the last frames have come in. */
export function end(state: WatchState, atMs: MonotonicMs, by: EndedBy): WatchStep {
  const closeMs = lastFramesMs(state, atMs);
  return enter(state, { kind: "ending", by, closeMs }, [
    nothingIsOnItsWay(state) ? { kind: "closeCamera" } : { kind: "wake", atMs: closeMs },
  ]);
}

/** Every frame taken has been read and kept. */
export function nothingIsOnItsWay(state: WatchState): boolean {
  return state.taken.length === 0 && state.unkeptCount === 0;
}
