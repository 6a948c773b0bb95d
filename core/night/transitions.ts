import { governExposure } from "../exposure/governor.ts";
import { monotonicMs, type MonotonicMs } from "../units.ts";
import type { WatchEffect } from "./effects.ts";
import type { WatchEvent } from "./events.ts";
import { raiseGuard } from "./guardNotice.ts";
import { endReason } from "./guards.ts";
import type { After, EndedBy, WatchState } from "./state.ts";

/** What an event leads to: the next state, and what is to be done. */
export type WatchStep = { readonly state: WatchState; readonly effects: readonly WatchEffect[] };

/** What the probes vary the exposure by, stops; from well under to well over the wanted brightness. */
const PROBE_STOPS = [0.9, -0.8, 1.4, -0.4, 0.5, -1.1, 1.8, -0.6];
/** Battery and card are asked for no more often than this. */
const STATUS_EVERY_MS = 60_000;
/** A camera that is not in manual is looked at again after this long. */
const DIAL_RETRY_MS = 10_000;
/** Waits between attempts to reconnect; the last one repeats. */
const RETRY_WAITS_MS = [500, 1000, 2000, 4000, 8000, 15_000, 60_000];
/** At the end, frames still on their way have so many of the silences that lose a camera. */
const LAST_FRAMES_SILENCES = 3;

/** What comes after a frame: the next one, a pause, or the end. */
export function goOn(state: WatchState, atMs: MonotonicMs, after: After): WatchStep {
  if (after === "next")
    return state.taken.length > 0 ? awaitReading(state, atMs) : proceed(state, atMs);
  return after === "paused" ? pause(state, atMs) : end(state, atMs, after);
}

/** The newest reading is about to come: a moment's wait is worth more than a frame exposed without it. */
function awaitReading(state: WatchState, atMs: MonotonicMs): WatchStep {
  const graceMs = state.settings.readingGraceSeconds * 1000;
  if (graceMs <= 0) return proceed(state, atMs);
  const notBeforeMs = later(atMs, graceMs);
  return {
    state: { ...state, phase: { kind: "between", notBeforeMs } },
    effects: [{ kind: "wake", atMs: notBeforeMs }],
  };
}

/** The camera is ready: end, wait, or order the next frame. */
export function proceed(state: WatchState, atMs: MonotonicMs): WatchStep {
  const by = endReason(state, atMs);
  if (by) return end(state, atMs, by);
  const { startMs } = state.settings;
  if (startMs !== null && atMs < startMs) {
    return {
      state: { ...state, phase: { kind: "waiting", startMs } },
      effects: [{ kind: "wake", atMs: startMs }],
    };
  }
  const asks = state.statusAskedMs === null || atMs - state.statusAskedMs >= STATUS_EVERY_MS;
  const asked: WatchState = asks ? { ...state, statusAskedMs: atMs } : state;
  const ask: readonly WatchEffect[] = asks ? [{ kind: "readStatus" }] : [];
  const notBeforeMs = dueMs(state, atMs);
  return withEffects(
    ask,
    notBeforeMs > atMs
      ? {
          state: { ...asked, phase: { kind: "between", notBeforeMs } },
          effects: [{ kind: "wake", atMs: notBeforeMs }],
        }
      : order(asked, atMs),
  );
}

function order(state: WatchState, atMs: MonotonicMs): WatchStep {
  const frameIndex = state.nextFrameIndex;
  const probeStops = nextProbeStops(state);
  const { targetStops } = state.settings.exposure;
  const settings = {
    ...state.settings.exposure,
    targetStops: targetStops + probeStops,
    intervalSeconds: intervalSeconds(state),
  };
  const decision = governExposure(state.governor, { openAtMs: atMs, frameIndex }, settings);
  const deadlineMs = overdueMs(atMs, decision.exposure.exposureSeconds, state);
  return {
    state: {
      ...state,
      governor: decision.state,
      nextFrameIndex: frameIndex + 1,
      probesLeft: state.probesLeft - (probeStops === 0 ? 0 : 1),
      phase: {
        kind: "ordered",
        frameIndex,
        exposure: decision.exposure,
        deadlineMs,
        after: "next",
      },
    },
    effects: [
      {
        kind: "expose",
        frameIndex,
        exposure: decision.exposure,
        openAtMs: atMs,
        reasons:
          probeStops === 0 ? decision.reasons : [probeReason(probeStops), ...decision.reasons],
        targetStops,
        isReachable: decision.isReachable,
        pace: state.pace,
        probeStops,
      },
      { kind: "wake", atMs: deadlineMs },
    ],
  };
}

/** The first probe waits for so many frames, so that the governor knows the sky by then. */
const FRAMES_BEFORE_PROBES = 3;

/** Up and down by turns, so that a sky that brightens or darkens steadily cancels out. */
function nextProbeStops(state: WatchState): number {
  if (state.probesLeft <= 0 || state.takenCount < FRAMES_BEFORE_PROBES) return 0;
  return PROBE_STOPS[state.probesLeft % PROBE_STOPS.length] ?? 0;
}

function probeReason(stops: number): string {
  const size = Math.abs(stops).toFixed(1);
  return `${size} stops ${stops > 0 ? "brighter" : "darker"} to learn the camera's tone curve`;
}

/** A frame that was ordered came to nothing. */
export function frameFailed(
  state: WatchState,
  event: Extract<WatchEvent, { kind: "cameraFailed" }>,
  frameIndex: number,
  after: After,
): WatchStep {
  if (event.frameIndex !== null && event.frameIndex !== frameIndex && !event.gone) {
    return stay(state, event.sentence);
  }
  const missing: WatchEffect = { kind: "markMissing", frameIndex, why: event.sentence };
  if (after !== "next" && after !== "paused") {
    return withEffects([missing], end(state, event.atMs, after));
  }
  if (after === "paused") return withEffects([missing], pause(state, event.atMs));
  return withEffects([missing], recover(state, event.atMs, event.sentence, 0));
}

/** The camera is silent with a frame in hand; reconnecting lets go of whatever is held. */
export function lost(
  state: WatchState,
  atMs: MonotonicMs,
  frameIndex: number,
  after: After,
): WatchStep {
  const sentence = "The camera went silent during a frame; Nattvakt is reconnecting.";
  const missing: WatchEffect = { kind: "markMissing", frameIndex, why: sentence };
  if (after === "next" || after === "paused") {
    return withEffects([missing], recover(state, atMs, sentence, 0));
  }
  // The shutter may still be open: closing the camera opens the contact whatever happened.
  const closeMs = lastFramesMs(state, atMs);
  return {
    state: { ...state, phase: { kind: "ending", by: after, closeMs } },
    effects: [missing, { kind: "closeCamera" }, { kind: "wake", atMs: closeMs }],
  };
}

export function connect(state: WatchState, atMs: MonotonicMs, attemptCount: number): WatchStep {
  const deadlineMs = later(atMs, state.settings.silenceSecondsMax * 1000);
  return {
    state: { ...state, phase: { kind: "connecting", attemptCount, deadlineMs } },
    effects: [{ kind: "connectCamera" }, { kind: "wake", atMs: deadlineMs }],
  };
}

export function recover(
  state: WatchState,
  atMs: MonotonicMs,
  sentence: string,
  attemptCount: number,
): WatchStep {
  const waitMs = RETRY_WAITS_MS[Math.min(attemptCount, RETRY_WAITS_MS.length - 1)] ?? 60_000;
  const retryMs = later(atMs, waitMs);
  const guarded = raiseGuard(openGap(state, atMs, sentence), atMs, {
    guard: "camera",
    level: attemptCount >= state.settings.quickAttemptCount ? "stop" : "warning",
    sentence,
  });
  return {
    state: { ...guarded, phase: { kind: "recovering", attemptCount, retryMs, sentence } },
    effects: [{ kind: "wake", atMs: retryMs }],
  };
}

export function pause(state: WatchState, atMs: MonotonicMs): WatchStep {
  return {
    state: { ...openGap(state, atMs, "paused by hand"), phase: { kind: "paused" } },
    effects: [],
  };
}

export function end(state: WatchState, atMs: MonotonicMs, by: EndedBy): WatchStep {
  const closeMs = lastFramesMs(state, atMs);
  const ending: WatchState = { ...state, phase: { kind: "ending", by, closeMs } };
  return {
    state: ending,
    effects: nothingIsOnItsWay(ending)
      ? [{ kind: "closeCamera" }]
      : [{ kind: "wake", atMs: closeMs }],
  };
}

/** A stretch without frames begins, unless one is open already or there was no frame yet. */
function openGap(state: WatchState, atMs: MonotonicMs, why: string): WatchState {
  if (state.lastClosedMs === null && state.lastOpenedMs === null) return state;
  const last = state.gaps.at(-1);
  if (last?.endMs === null) return state;
  const startMs = state.lastClosedMs ?? atMs;
  return { ...state, gaps: [...state.gaps, { startMs, endMs: null, why }] };
}

export function nothingIsOnItsWay(state: WatchState): boolean {
  return state.taken.length === 0 && state.unkeptCount === 0;
}

function intervalSeconds(state: WatchState): number {
  const { exposure, sentinelIntervalSeconds } = state.settings;
  return state.pace === "sentinel" && sentinelIntervalSeconds !== null
    ? Math.max(sentinelIntervalSeconds, exposure.intervalSeconds)
    : exposure.intervalSeconds;
}

/** When the next frame is due at the present pace. */
export function dueMs(state: WatchState, atMs: MonotonicMs): MonotonicMs {
  const sinceMs = state.lastOpenedMs;
  if (sinceMs === null) return atMs;
  return monotonicMs(Math.max(atMs, sinceMs + intervalSeconds(state) * 1000));
}

export function fullPaceMs(state: WatchState): number {
  return (state.lastOpenedMs ?? 0) + state.settings.exposure.intervalSeconds * 1000;
}

export function overdueMs(
  atMs: MonotonicMs,
  exposureSeconds: number,
  state: WatchState,
): MonotonicMs {
  return later(atMs, (exposureSeconds + state.settings.silenceSecondsMax) * 1000);
}

function lastFramesMs(state: WatchState, atMs: MonotonicMs): MonotonicMs {
  return later(atMs, LAST_FRAMES_SILENCES * state.settings.silenceSecondsMax * 1000);
}

export function later(atMs: MonotonicMs, ms: number): MonotonicMs {
  return monotonicMs(atMs + ms);
}

export function withEffects(effects: readonly WatchEffect[], step: WatchStep): WatchStep {
  return { state: step.state, effects: [...effects, ...step.effects] };
}

/** The event changes nothing; why is kept for the log. */
export function stay(state: WatchState, why: string): WatchStep {
  return { state: { ...state, ignored: why }, effects: [] };
}

export function lookAgain(state: WatchState, atMs: MonotonicMs, sentence: string): WatchStep {
  const retryMs = later(atMs, DIAL_RETRY_MS);
  const guarded = raiseGuard(state, atMs, { guard: "camera", level: "stop", sentence });
  return {
    state: { ...guarded, phase: { kind: "recovering", attemptCount: 0, retryMs, sentence } },
    effects: [{ kind: "wake", atMs: retryMs }],
  };
}

/** What comes after the frame in hand, when the photographer pauses or resumes meanwhile. */
export function afterWish(state: WatchState, after: After, wish: "paused" | "next"): WatchStep {
  const { phase } = state;
  if (!("after" in phase) || (after !== "next" && after !== "paused")) {
    return stay(state, "the watch is ending");
  }
  return { state: { ...state, phase: { ...phase, after: wish } }, effects: [] };
}
