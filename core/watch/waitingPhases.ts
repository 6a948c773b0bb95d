import type { WatchEffect } from "./effects.ts";
import type { WatchEvent } from "./events.ts";
import { guardClock } from "../night/clockGuard.ts";
import { clearGuard, raiseGuard } from "./guardNotice.ts";
import { endReason, guardFromFixedIso } from "./guards.ts";
import type { WatchState } from "./state.ts";
import { connect, end, lookAgain, pause, proceed, recover } from "./transitions.ts";
import { enter, stay, withEffects, type Phase, type WatchStep } from "./watchStep.ts";

type WaitingPhase = Phase<
  "connecting" | "waiting" | "between" | "paused" | "recovering" | "ending"
>;

/** What happens while no frame is in hand and the shutter is closed. */
export function reduceWaiting(
  state: WatchState,
  phase: WaitingPhase,
  event: WatchEvent,
): WatchStep {
  if (phase.kind === "ending") return reduceEnding(state, phase, event);
  if (event.kind === "stopped") return end(state, event.atMs, "hand");
  switch (phase.kind) {
    case "connecting":
      return reduceConnecting(state, phase, event);
    case "waiting":
    case "between":
      return reduceBetween(state, event);
    case "paused":
      return reducePaused(state, event);
    case "recovering":
      return reduceRecovering(state, phase, event);
  }
}

function reduceConnecting(
  state: WatchState,
  { attemptCount }: Phase<"connecting">,
  event: WatchEvent,
): WatchStep {
  switch (event.kind) {
    case "cameraConnected":
      return connected(state, event);
    case "cameraFailed":
      return recover(state, event.atMs, event.sentence, attemptCount);
    case "woke":
      return recover(state, event.atMs, "The camera does not answer.", attemptCount);
    default:
      return stay(state, "the camera is being connected");
  }
}

type Connected = Extract<WatchEvent, { kind: "cameraConnected" }>;

function connected(state: WatchState, event: Connected): WatchStep {
  const obstacle = obstacleOf(event);
  if (obstacle !== null) return lookAgain(state, event.atMs, obstacle);
  const reconcile: readonly WatchEffect[] =
    state.nextFrameIndex > 0
      ? [{ kind: "reconcileCard", beforeFrameIndex: state.nextFrameIndex }]
      : [];
  return withEffects(reconcile, proceed(knowingCamera(state, event), event.atMs));
}

/** Why this camera cannot watch as its dial stands; null: it can. */
function obstacleOf({ program, canTakeFrames }: Connected): string | null {
  if (program === "other") {
    return "The camera is not in manual: its exposure would not be ours. Turn the dial to M; Nattvakt looks again every 10 s.";
  }
  if (!canTakeFrames) {
    return "The camera offers neither bulb nor timed exposures over this link. Turn the dial to B or M; Nattvakt looks again every 10 s.";
  }
  return null;
}

function knowingCamera(state: WatchState, event: Connected): WatchState {
  const fixedIso = event.fixedIso ?? null;
  const clocks = { ...state.clocks, cameraLessOursMs: event.clockOffsetMs ?? null };
  const clear = guardClock({ ...clearGuard(state, "camera"), clocks }, event.atMs);
  const exposure = {
    ...state.settings.exposure,
    // The only rung there is: the exposure is then governed by time alone, whatever the ISO cap.
    isoLadder: fixedIso === null ? event.isoLadder : [fixedIso],
    fNumber: event.fNumber ?? state.settings.exposure.fNumber,
  };
  return {
    ...guardFromFixedIso(clear, fixedIso, event.atMs),
    settings: { ...state.settings, exposure },
    statusAskedMs: null,
    probesLeft: event.isToneCurveKnown ? 0 : state.probesLeft,
  };
}

/** Until the start, or until the next frame is due. */
function reduceBetween(state: WatchState, event: WatchEvent): WatchStep {
  switch (event.kind) {
    case "woke":
      return proceed(state, event.atMs);
    case "paused":
      return pause(state, event.atMs);
    case "cameraFailed":
      return event.gone
        ? recover(state, event.atMs, event.sentence, 0)
        : stay(state, event.sentence);
    default:
      return stay(state, "it is not time yet");
  }
}

function reducePaused(state: WatchState, event: WatchEvent): WatchStep {
  switch (event.kind) {
    case "resumed":
      return isCameraAway(state) ? connect(state, event.atMs, 1) : proceed(state, event.atMs);
    case "cameraFailed": {
      const { atMs, sentence, gone } = event;
      if (!gone) return stay(state, sentence);
      const guarded = raiseGuard(state, atMs, { guard: "camera", level: "warning", sentence });
      return { state: guarded, effects: [] };
    }
    default:
      return stay(state, "the watch is paused");
  }
}

function isCameraAway(state: WatchState): boolean {
  return state.guards.some(({ guard, level }) => guard === "camera" && level !== "note");
}

function reduceRecovering(
  state: WatchState,
  { attemptCount }: Phase<"recovering">,
  event: WatchEvent,
): WatchStep {
  switch (event.kind) {
    case "woke": {
      const by = endReason(state, event.atMs);
      return by ? end(state, event.atMs, by) : connect(state, event.atMs, attemptCount + 1);
    }
    case "cameraConnected":
      return connected(state, event);
    case "paused":
      return pause(state, event.atMs);
    default:
      return stay(state, "the camera is being waited for");
  }
}

/** The watch is over; the camera is let go of when the last frames have come, or will not come. */
function reduceEnding(state: WatchState, { by }: Phase<"ending">, event: WatchEvent): WatchStep {
  switch (event.kind) {
    case "cameraClosed":
      return enter(state, { kind: "finished", by });
    case "woke":
      return { state, effects: [{ kind: "closeCamera" }] };
    case "cameraFailed":
      return event.gone
        ? { state, effects: [{ kind: "closeCamera" }] }
        : stay(state, event.sentence);
    default:
      return stay(state, "the watch is ending");
  }
}
