import type { MonotonicMs } from "../units.ts";
import { dueMs, lastFramesMs, later, silentMs, wakeMs } from "./deadlines.ts";
import type { WatchEffect } from "./effects.ts";
import type { WatchEvent } from "./events.ts";
import { openGap } from "./gaps.ts";
import { raiseGuard } from "./raiseGuard.ts";
import { endReason } from "./guards.ts";
import { handWordAt } from "./handWord.ts";
import { readingDueMs } from "./readingGrace.ts";
import { withCamera, withLoose } from "./knownParts.ts";
import { orderFrame } from "./orderFrame.ts";
import type { EndedBy, WatchKnowledge, WatchState } from "./state.ts";
import { enter, stay, withEffects, withKnown, type Phase, type WatchStep } from "./watchStep.ts";

/** Battery and card are asked for no more often than this. */
const STATUS_EVERY_MS = 60_000;
/** A camera that is not in manual is looked at again after this long. */
const DIAL_RETRY_MS = 10_000;
/** Waits between attempts to reconnect; after them it is tried this often all night. */
const RETRY_WAITS_MS = [500, 1000, 2000, 4000];
export const RETRY_EVERY_MS = 5000;

/** After a frame: the next one once its reading had a moment to come, unless the hand's word is another. */
export function goOn(state: WatchState, atMs: MonotonicMs): WatchStep {
  if (handWordAt(state.known.hand, atMs).kind !== "watch") return proceed(state, atMs);
  const readingMs = readingDueMs(state.known, atMs);
  return readingMs > atMs ? between(state, readingMs) : proceed(state, atMs);
}

/**
 * The camera is ready: end, pause, wait, or order the next frame. Every frame is ordered from here,
 * so a hand's word that is heard here holds everywhere.
 */
export function proceed(before: WatchState, atMs: MonotonicMs): WatchStep {
  const { known } = before;
  const hand = handWordAt(known.hand, atMs);
  const state = hand === known.hand ? before : withKnown(before, { ...known, hand });
  if (hand.kind === "stop") return end(state, atMs, "hand");
  const by = endReason(known, atMs);
  if (by) return end(state, atMs, by);
  if (hand.kind === "pause") return pause(state, atMs);
  const { startMs } = known.settings;
  if (startMs !== null && atMs < startMs) {
    return enter(state, { kind: "waiting", startMs }, [{ kind: "wake", atMs: startMs }]);
  }
  const asks =
    known.camera.statusAskedMs === null || atMs - known.camera.statusAskedMs >= STATUS_EVERY_MS;
  if (asks) {
    const asking = withKnown(state, withCamera(state.known, { statusAskedMs: atMs }));
    return withEffects([{ kind: "readStatus" }], next(asking, atMs));
  }
  return next(state, atMs);
}

function next(state: WatchState, atMs: MonotonicMs): WatchStep {
  const notBeforeMs = dueMs(state.known, atMs);
  return notBeforeMs > atMs ? between(state, notBeforeMs) : orderFrame(state, atMs);
}

function between(state: WatchState, notBeforeMs: MonotonicMs): WatchStep {
  return enter(state, { kind: "between", notBeforeMs }, [{ kind: "wake", atMs: notBeforeMs }]);
}

/** No frame until the hand says otherwise; the time until then is a gap of the night. */
function pause(state: WatchState, atMs: MonotonicMs): WatchStep {
  const known = openGap(state.known, atMs, "paused by hand");
  const paused: WatchState = { ...state, phase: { kind: "paused" }, known };
  const pauseEndMs = wakeMs(paused);
  return {
    state: paused,
    effects: pauseEndMs === null ? [] : [{ kind: "wake", atMs: pauseEndMs }],
  };
}

/** A frame that was ordered came to nothing. */
export function frameFailed(
  state: WatchState,
  { frameIndex }: { readonly frameIndex: number },
  event: Extract<WatchEvent, { kind: "cameraFailed" }>,
): WatchStep {
  const { atMs, sentence } = event;
  const isAnother = event.frameIndex !== null && event.frameIndex !== frameIndex;
  if (isAnother && !event.gone) return stay(state, sentence);
  const hand = handWordAt(state.known.hand, atMs).kind;
  const loose = event.gone ? withLooseShutter(state) : state;
  const triesAgain = hand === "watch" || (hand === "pause" && event.gone);
  const why = event.gone ? "gone" : "refused";
  const then = triesAgain ? recover(loose, atMs, sentence, 0, why) : proceed(loose, atMs);
  return withEffects([{ kind: "markMissing", frameIndex, why: sentence }], then);
}

/** The camera is silent with a frame in hand; reconnecting releases whatever is held. */
export function lost(
  state: WatchState,
  { frameIndex }: { readonly frameIndex: number },
  atMs: MonotonicMs,
): WatchStep {
  const sentence = "The camera went silent during a frame; Nattvakt is reconnecting.";
  const missing: WatchEffect = { kind: "markMissing", frameIndex, why: sentence };
  const loose = withLooseShutter(state);
  if (state.known.hand.kind !== "stop") {
    return withEffects([missing], recover(loose, atMs, sentence, 0));
  }
  // The shutter may still be open: closing the camera opens the contact whatever happened.
  const closeMs = lastFramesMs(state.known, atMs);
  return enter(loose, { kind: "ending", by: "hand", closeMs }, [
    missing,
    { kind: "closeCamera" },
    { kind: "wake", atMs: closeMs },
  ]);
}

/** A frame was in hand when the camera was lost: its shutter may stand open. */
function withLooseShutter(state: WatchState): WatchState {
  const { phase, known } = state;
  const isOpen = phase.kind === "exposing" || phase.kind === "closing";
  if (!isOpen) return state;
  return withKnown(state, withLoose(known, known.camera.looseSinceMs ?? phase.openedMs));
}

/**
 * A shutter opened for a frame that had been given up: it is closed again at once, with the
 * deadline that every open shutter has.
 */
export function openedLate(
  state: WatchState,
  { atMs, frameIndex }: Extract<WatchEvent, { kind: "shutterOpened" }>,
): WatchStep {
  const deadlineMs = silentMs(state.known, atMs);
  return enter(state, { kind: "closing", frameIndex, openedMs: atMs, deadlineMs }, [
    { kind: "closeShutter", frameIndex },
    { kind: "wake", atMs: deadlineMs },
  ]);
}

/** The same where the camera is being connected or closed, which has its own deadline. */
export function openedUnowned(
  state: WatchState,
  { atMs, frameIndex }: Extract<WatchEvent, { kind: "shutterOpened" }>,
): WatchStep {
  return {
    state: withKnown(state, withLoose(state.known, state.known.camera.looseSinceMs ?? atMs)),
    effects: [{ kind: "closeShutter", frameIndex }],
  };
}

/** A shutter that nobody was in control of is closed after all. */
export function closedLate(state: WatchState): WatchStep {
  return { state: withKnown(state, withLoose(state.known, null)), effects: [] };
}

/** Connects the camera; `attemptCount` is 1 for the first attempt. */
export function connect(state: WatchState, atMs: MonotonicMs, attemptCount: number): WatchStep {
  const deadlineMs = silentMs(state.known, atMs);
  return enter(state, { kind: "connecting", attemptCount, deadlineMs }, [
    { kind: "connectCamera" },
    { kind: "wake", atMs: deadlineMs },
  ]);
}

/** The camera is gone: it is tried again, quickly at first, then every 5 s, all night. */
export function recover(
  state: WatchState,
  atMs: MonotonicMs,
  sentence: string,
  attemptCount: number,
  why: "gone" | "refused" = "gone",
): WatchStep {
  const waitMs = RETRY_WAITS_MS[attemptCount] ?? RETRY_EVERY_MS;
  const isLong = attemptCount >= state.known.settings.quickAttemptCount;
  const guarded = raiseGuard(openGap(state.known, atMs, sentence), atMs, {
    guard: "camera",
    level: isLong ? "stop" : "warning",
    sentence,
  });
  const retryMs = later(atMs, waitMs);
  return retryAt(withKnown(state, guarded), { why, retryMs, attemptCount, sentence });
}

/** The camera is there but cannot be used as its dial stands. */
export function lookAgain(state: WatchState, atMs: MonotonicMs, sentence: string): WatchStep {
  const guarded = raiseGuard(state.known, atMs, { guard: "camera", level: "stop", sentence });
  const retryMs = later(atMs, DIAL_RETRY_MS);
  return retryAt(withKnown(state, guarded), {
    ...{ why: "unusable", retryMs, attemptCount: 0, sentence },
  });
}

function retryAt(state: WatchState, retry: Omit<Phase<"recovering">, "kind">): WatchStep {
  return enter(state, { kind: "recovering", ...retry }, [{ kind: "wake", atMs: retry.retryMs }]);
}

/** The end: the camera is closed once the last frames have come in. */
export function end(state: WatchState, atMs: MonotonicMs, by: EndedBy): WatchStep {
  const closeMs = lastFramesMs(state.known, atMs);
  return enter(state, { kind: "ending", by, closeMs }, [
    nothingIsOnItsWay(state.known) ? { kind: "closeCamera" } : { kind: "wake", atMs: closeMs },
  ]);
}

/** Every frame taken has been read and kept. */
export function nothingIsOnItsWay({ frames: { taken, unkeptCount } }: WatchKnowledge): boolean {
  return taken.length === 0 && unkeptCount === 0;
}
