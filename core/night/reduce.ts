import { startSurgeWatch } from "../activity/surge.ts";
import { hasHadItsDose, observeFrame, observeLight, startGovernor } from "../exposure/governor.ts";
import type { MonotonicMs } from "../units.ts";
import type { WatchEffect } from "./effects.ts";
import type { WatchEvent } from "./events.ts";
import { guardClock } from "./clockGuard.ts";
import { clearGuard, raiseGuard } from "./guardNotice.ts";
import { endReason, guardFromFixedIso } from "./guards.ts";
import { recordInLedger, recordTaken } from "./ledger.ts";
import {
  afterWish,
  connect,
  dueMs,
  end,
  frameFailed,
  fullPaceMs,
  goOn,
  later,
  lookAgain,
  lost,
  nothingIsOnItsWay,
  overdueMs,
  pause,
  proceed,
  recover,
  stay,
  withEffects,
  type WatchStep,
} from "./transitions.ts";
import type { After, WatchPhaseState, WatchState } from "./state.ts";
import { DEFAULT_WATCH_SETTINGS, type WatchSettings } from "./watchSettings.ts";

/** A watch that has not begun. */
export function idleWatch(settings: WatchSettings = DEFAULT_WATCH_SETTINGS): WatchState {
  return {
    phase: { kind: "idle" },
    settings,
    governor: startGovernor(null),
    surge: startSurgeWatch(),
    stars: { bestWidthPx: null, bestCount: 0, worseCount: 0 },
    nextFrameIndex: 0,
    takenCount: 0,
    taken: [],
    unkeptCount: 0,
    lastOpenedMs: null,
    lastClosedMs: null,
    pace: "full",
    probesLeft: settings.probeCountMax,
    quietSinceMs: null,
    batteryPercent: null,
    freeBytes: null,
    freeFrames: null,
    climate: null,
    clocks: { cameraLessOursMs: null, oursLessGnssMs: null },
    statusAskedMs: null,
    guards: [],
    surges: [],
    gaps: [],
    ignored: null,
  };
}

/**
 * The watch: what happens next, from where it stands and what has just happened. Pure: the same
 * events give the same decisions, at whatever rate the clock ran.
 */
export function reduceWatch(before: WatchState, event: WatchEvent): WatchStep {
  const state: WatchState = before.ignored === null ? before : { ...before, ignored: null };
  const recorded = recordInLedger(state, event);
  if (recorded) return afterLedger(recorded, event);
  if (event.kind === "started") return reduceStarted(state, event);
  switch (state.phase.kind) {
    case "idle":
    case "finished":
      return stay(state, "no watch is running");
    case "connecting":
      return reduceConnecting(state, state.phase, event);
    case "waiting":
      return reduceWaiting(state, state.phase, event);
    case "between":
      return reduceBetween(state, state.phase, event);
    case "ordered":
      return reduceOrdered(state, state.phase, event);
    case "exposing":
      return reduceExposing(state, state.phase, event);
    case "closing":
      return reduceClosing(state, state.phase, event);
    case "readingOut":
      return reduceReadingOut(state, state.phase, event);
    case "paused":
      return reducePaused(state, event);
    case "recovering":
      return reduceRecovering(state, state.phase, event);
    case "ending":
      return reduceEnding(state, state.phase, event);
  }
}

type Phase<K extends WatchPhaseState["kind"]> = Extract<WatchPhaseState, { kind: K }>;

/** What the ledger learned may end a wait: a surge begins, or the last frame has come in. */
function afterLedger(recorded: WatchStep, event: WatchEvent): WatchStep {
  const { state, effects } = recorded;
  if (state.phase.kind === "between" && event.kind === "readingArrived") {
    const surge = state.surges.at(-1);
    if (surge?.endMs === null && event.atMs >= fullPaceMs(state)) {
      return withEffects(effects, proceed(state, event.atMs));
    }
  }
  const isRead = event.kind === "readingArrived" || event.kind === "readingFailed";
  if (state.phase.kind === "between" && isRead && dueMs(state, event.atMs) <= event.atMs) {
    return withEffects(effects, proceed(state, event.atMs));
  }
  if (state.phase.kind === "ending" && nothingIsOnItsWay(state)) {
    return { state, effects: [...effects, { kind: "closeCamera" }] };
  }
  return recorded;
}

function reduceStarted(
  state: WatchState,
  event: Extract<WatchEvent, { kind: "started" }>,
): WatchStep {
  if (state.phase.kind !== "idle" && state.phase.kind !== "finished") {
    return stay(state, "a watch is running already");
  }
  const governor = event.history.reduce(
    (known, observation) => observeFrame(known, observation, event.settings.exposure),
    startGovernor(event.first),
  );
  const fresh: WatchState = {
    ...idleWatch(event.settings),
    governor,
    nextFrameIndex: event.nextFrameIndex,
  };
  return connect(fresh, event.atMs, 1);
}

function reduceConnecting(
  state: WatchState,
  phase: Phase<"connecting">,
  event: WatchEvent,
): WatchStep {
  switch (event.kind) {
    case "cameraConnected":
      return connected(state, event);
    case "cameraFailed":
      return recover(state, event.atMs, event.sentence, phase.attemptCount);
    case "woke":
      return event.atMs < phase.deadlineMs
        ? stay(state, "the camera still has time to answer")
        : recover(state, event.atMs, "The camera does not answer.", phase.attemptCount);
    case "stopped":
      return end(state, event.atMs, "hand");
    default:
      return stay(state, "the camera is being connected");
  }
}

function connected(
  state: WatchState,
  event: Extract<WatchEvent, { kind: "cameraConnected" }>,
): WatchStep {
  if (event.program === "other") {
    return lookAgain(
      state,
      event.atMs,
      "The camera is not in manual: its exposure would not be ours. Turn the dial to M; Nattvakt looks again every 10 s.",
    );
  }
  if (!event.canTakeFrames) {
    return lookAgain(
      state,
      event.atMs,
      "The camera offers neither bulb nor timed exposures over this link. Turn the dial to B or M; Nattvakt looks again every 10 s.",
    );
  }
  const exposure = {
    ...state.settings.exposure,
    // The only rung there is: the exposure is then governed by time alone, whatever the ISO cap.
    isoLadder: event.fixedIso ? [event.fixedIso] : event.isoLadder,
    fNumber: event.fNumber ?? state.settings.exposure.fNumber,
  };
  const clocks = { ...state.clocks, cameraLessOursMs: event.clockOffsetMs ?? null };
  const clear = guardClock({ ...clearGuard(state, "camera"), clocks }, event.atMs);
  const ready: WatchState = {
    ...guardFromFixedIso(clear, event.fixedIso ?? null, event.atMs),
    settings: { ...state.settings, exposure },
    statusAskedMs: null,
    probesLeft: event.isToneCurveKnown ? 0 : state.probesLeft,
  };
  const reconcile: readonly WatchEffect[] =
    state.nextFrameIndex > 0 ? [{ kind: "reconcileCard" }] : [];
  return withEffects(reconcile, proceed(ready, event.atMs));
}

function reduceWaiting(state: WatchState, phase: Phase<"waiting">, event: WatchEvent): WatchStep {
  switch (event.kind) {
    case "woke":
      return event.atMs < phase.startMs
        ? stay(state, "it is not time yet")
        : proceed(state, event.atMs);
    case "stopped":
      return end(state, event.atMs, "hand");
    case "paused":
      return pause(state, event.atMs);
    case "cameraFailed":
      return event.gone
        ? recover(state, event.atMs, event.sentence, 0)
        : stay(state, event.sentence);
    default:
      return stay(state, "waiting for the start");
  }
}

function reduceBetween(state: WatchState, phase: Phase<"between">, event: WatchEvent): WatchStep {
  switch (event.kind) {
    case "woke":
      return event.atMs < phase.notBeforeMs
        ? stay(state, "it is not time yet")
        : proceed(state, event.atMs);
    case "stopped":
      return end(state, event.atMs, "hand");
    case "paused":
      return pause(state, event.atMs);
    case "cameraFailed":
      return event.gone
        ? recover(state, event.atMs, event.sentence, 0)
        : stay(state, event.sentence);
    default:
      return stay(state, "between two frames");
  }
}

function reduceOrdered(state: WatchState, phase: Phase<"ordered">, event: WatchEvent): WatchStep {
  switch (event.kind) {
    case "shutterOpened":
      return event.frameIndex === phase.frameIndex
        ? opened(state, phase, event.atMs)
        : stay(state, "another frame's shutter");
    case "shutterClosed":
      return event.frameIndex === phase.frameIndex
        ? closed(state, event, { openedMs: event.atMs, after: phase.after })
        : stay(state, "another frame's shutter");
    case "cameraFailed":
      return frameFailed(state, event, phase.frameIndex, phase.after);
    case "woke":
      return event.atMs < phase.deadlineMs
        ? stay(state, "the camera still has time to answer")
        : lost(state, event.atMs, phase.frameIndex, phase.after);
    case "stopped":
      return {
        state: { ...state, phase: { ...phase, after: "hand" } },
        effects: [{ kind: "closeShutter", frameIndex: phase.frameIndex }],
      };
    case "paused":
      return afterWish(state, phase.after, "paused");
    case "resumed":
      return afterWish(state, phase.after, "next");
    default:
      return stay(state, "a frame has been ordered");
  }
}

function opened(state: WatchState, phase: Phase<"ordered">, atMs: MonotonicMs): WatchStep {
  const deadlineMs = overdueMs(atMs, phase.exposure.exposureSeconds, state);
  const gap = state.gaps.at(-1);
  const gaps =
    gap?.endMs === null ? [...state.gaps.slice(0, -1), { ...gap, endMs: atMs }] : state.gaps;
  const next: WatchState = {
    ...state,
    gaps,
    lastOpenedMs: atMs,
    phase: {
      kind: "exposing",
      frameIndex: phase.frameIndex,
      exposure: phase.exposure,
      openedMs: atMs,
      deadlineMs,
      after: phase.after,
    },
  };
  if (phase.after === "hand") return closeNow(next, next.phase as Phase<"exposing">, atMs, "hand");
  return { state: next, effects: [{ kind: "wake", atMs: deadlineMs }] };
}

function reduceExposing(state: WatchState, phase: Phase<"exposing">, event: WatchEvent): WatchStep {
  switch (event.kind) {
    case "shutterClosed":
      return event.frameIndex === phase.frameIndex
        ? closed(state, event, phase)
        : stay(state, "another frame's shutter");
    case "lightSampled": {
      const governor = observeLight(state.governor, { atMs: event.atMs, value: event.value });
      const lit = { ...state, governor };
      const open = { openedMs: phase.openedMs, exposure: phase.exposure };
      return hasHadItsDose(governor, open, event.atMs, state.settings.exposure)
        ? closeNow(lit, phase, event.atMs, phase.after)
        : { state: lit, effects: [] };
    }
    case "cameraFailed":
      return frameFailed(state, event, phase.frameIndex, phase.after);
    case "woke":
      return event.atMs < phase.deadlineMs
        ? stay(state, "the exposure is not over")
        : closeNow(state, phase, event.atMs, phase.after);
    case "stopped":
      return closeNow(state, phase, event.atMs, "hand");
    case "paused":
      return afterWish(state, phase.after, "paused");
    case "resumed":
      return afterWish(state, phase.after, "next");
    default:
      return stay(state, "a frame is being exposed");
  }
}

function closeNow(
  state: WatchState,
  phase: Phase<"exposing">,
  atMs: MonotonicMs,
  after: After,
): WatchStep {
  const deadlineMs = later(atMs, state.settings.silenceSecondsMax * 1000);
  return {
    state: {
      ...state,
      phase: {
        kind: "closing",
        frameIndex: phase.frameIndex,
        openedMs: phase.openedMs,
        deadlineMs,
        after,
      },
    },
    effects: [
      { kind: "closeShutter", frameIndex: phase.frameIndex },
      { kind: "wake", atMs: deadlineMs },
    ],
  };
}

function reduceClosing(state: WatchState, phase: Phase<"closing">, event: WatchEvent): WatchStep {
  switch (event.kind) {
    case "shutterClosed":
      return event.frameIndex === phase.frameIndex
        ? closed(state, event, phase)
        : stay(state, "another frame's shutter");
    case "cameraFailed":
      return frameFailed(state, event, phase.frameIndex, phase.after);
    case "woke":
      return event.atMs < phase.deadlineMs
        ? stay(state, "the shutter still has time to close")
        : lost(state, event.atMs, phase.frameIndex, phase.after);
    case "stopped":
      return { state: { ...state, phase: { ...phase, after: "hand" } }, effects: [] };
    case "paused":
      return afterWish(state, phase.after, "paused");
    case "resumed":
      return afterWish(state, phase.after, "next");
    default:
      return stay(state, "the shutter is being closed");
  }
}

function closed(
  state: WatchState,
  event: Extract<WatchEvent, { kind: "shutterClosed" }>,
  frame: { readonly openedMs: MonotonicMs; readonly after: After },
): WatchStep {
  const deadlineMs = later(event.atMs, state.settings.silenceSecondsMax * 1000);
  const taken = recordTaken(
    state,
    { frameIndex: event.frameIndex, openedMs: frame.openedMs, happened: event.happened },
    event.atMs,
  );
  return {
    state: { ...taken, phase: { kind: "readingOut", deadlineMs, after: frame.after } },
    effects: [{ kind: "wake", atMs: deadlineMs }],
  };
}

function reduceReadingOut(
  state: WatchState,
  phase: Phase<"readingOut">,
  event: WatchEvent,
): WatchStep {
  switch (event.kind) {
    case "cameraReady":
      return goOn(state, event.atMs, phase.after);
    case "cameraFailed":
      return event.gone
        ? phase.after === "next"
          ? recover(state, event.atMs, event.sentence, 0)
          : goOn(state, event.atMs, phase.after)
        : goOn(state, event.atMs, phase.after);
    case "woke":
      return event.atMs < phase.deadlineMs
        ? stay(state, "the camera is still reading out")
        : recover(state, event.atMs, "The camera went silent after a frame.", 0);
    case "stopped":
      return { state: { ...state, phase: { ...phase, after: "hand" } }, effects: [] };
    case "paused":
      return afterWish(state, phase.after, "paused");
    case "resumed":
      return afterWish(state, phase.after, "next");
    default:
      return stay(state, "the camera is reading out");
  }
}

function reducePaused(state: WatchState, event: WatchEvent): WatchStep {
  switch (event.kind) {
    case "resumed":
      return state.guards.some(({ guard, level }) => guard === "camera" && level !== "note")
        ? connect(state, event.atMs, 1)
        : proceed(state, event.atMs);
    case "stopped":
      return end(state, event.atMs, "hand");
    case "cameraFailed":
      return event.gone
        ? {
            state: raiseGuard(state, event.atMs, {
              guard: "camera",
              level: "warning",
              sentence: event.sentence,
            }),
            effects: [],
          }
        : stay(state, event.sentence);
    default:
      return stay(state, "the watch is paused");
  }
}

function reduceRecovering(
  state: WatchState,
  phase: Phase<"recovering">,
  event: WatchEvent,
): WatchStep {
  switch (event.kind) {
    case "woke": {
      if (event.atMs < phase.retryMs) return stay(state, "it is not time to try again");
      const by = endReason(state, event.atMs);
      return by ? end(state, event.atMs, by) : connect(state, event.atMs, phase.attemptCount + 1);
    }
    case "cameraConnected":
      return connected(state, event);
    case "stopped":
      return end(state, event.atMs, "hand");
    case "paused":
      return pause(state, event.atMs);
    default:
      return stay(state, "the camera is being waited for");
  }
}

function reduceEnding(state: WatchState, phase: Phase<"ending">, event: WatchEvent): WatchStep {
  switch (event.kind) {
    case "cameraClosed":
      return { state: { ...state, phase: { kind: "finished", by: phase.by } }, effects: [] };
    case "woke":
      return event.atMs < phase.closeMs
        ? stay(state, "the last frames still have time")
        : { state, effects: [{ kind: "closeCamera" }] };
    case "cameraFailed":
      return event.gone
        ? { state, effects: [{ kind: "closeCamera" }] }
        : stay(state, event.sentence);
    default:
      return stay(state, "the watch is ending");
  }
}
