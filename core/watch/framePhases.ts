import { hasHadItsDose, observeLight } from "../exposure/governor.ts";
import type { MonotonicMs } from "../units.ts";
import { overdueMs, silentMs } from "./deadlines.ts";
import type { PhaseEvent } from "./events.ts";
import { observeSample, recordTaken } from "./knowledge.ts";
import { guardTiming } from "./shutterLateness.ts";
import { withFrames } from "./knownParts.ts";
import type { WatchKnowledge, WatchState } from "./state.ts";
import { closedLate, frameFailed, goOn, lost, openedLate, recover } from "./transitions.ts";
import {
  enter,
  goesOn,
  stay,
  withGovernor,
  withKnown,
  type FramePhase,
  type Phase,
  type WatchStep,
} from "./watchStep.ts";
import { closeGap } from "./gaps.ts";

/**
 * What happens with a frame in hand, from its order until the camera is ready for the next one.
 * Wherever the shutter may be open, the phase's deadline sees to its closing. A hand's word is in
 * the state already; here it decides only what becomes of the open frame.
 */
export function reduceFrame(state: WatchState, phase: FramePhase, event: PhaseEvent): WatchStep {
  switch (phase.kind) {
    case "ordered":
      return reduceOrdered(state, phase, event);
    case "exposing":
      return reduceExposing(state, phase, event);
    case "closing":
      return reduceClosing(state, phase, event);
    case "readingOut":
      return reduceReadingOut(state, phase, event);
  }
}

function reduceOrdered(state: WatchState, phase: Phase<"ordered">, event: PhaseEvent): WatchStep {
  switch (event.kind) {
    case "shutterOpened":
      return opened(state, phase, event.atMs);
    case "shutterClosed":
      return closed(state, event, event.atMs);
    case "cameraFailed":
      return frameFailed(state, phase, event);
    case "woke":
      return lost(state, phase, event.atMs);
    case "stopped":
      return goesOn(state, [{ kind: "closeShutter", frameIndex: phase.frameIndex }]);
    case "paused":
    case "resumed":
      return goesOn(state);
    case "lightSampled":
      return observeSample(state, event);
    case "cameraReady":
      return stay(state, "the camera was ready before this frame was ordered");
    case "started":
    case "cameraConnected":
    case "cameraClosed":
      return stay(state, "the camera is connected and a frame has been ordered");
  }
}

function opened(state: WatchState, phase: Phase<"ordered">, atMs: MonotonicMs): WatchStep {
  const { frameIndex, exposure } = phase;
  const deadlineMs = overdueMs(state.known, atMs, exposure.exposureSeconds);
  const exposing: Phase<"exposing"> = {
    kind: "exposing",
    openedMs: atMs,
    ...{ frameIndex, exposure, deadlineMs },
  };
  const open = withKnown(
    state,
    withFrames(closeGap(state.known, atMs), {
      ...state.known.frames,
      lastOpenedMs: atMs,
      cadenceMs: cadenceAfter(state.known, atMs),
    }),
  );
  if (state.known.hand.kind === "stop") return closeNow(open, exposing, atMs);
  return enter(open, exposing, [{ kind: "wake", atMs: deadlineMs }]);
}

/** From opening to opening; a gap between them is no cadence. */
function cadenceAfter(
  { frames: { lastOpenedMs, cadenceMs }, gaps }: WatchKnowledge,
  atMs: MonotonicMs,
) {
  const isAfterGap = gaps.at(-1)?.endMs === null;
  return lastOpenedMs === null || isAfterGap ? cadenceMs : atMs - lastOpenedMs;
}

function reduceExposing(state: WatchState, phase: Phase<"exposing">, event: PhaseEvent): WatchStep {
  switch (event.kind) {
    case "shutterClosed":
      return closed(state, event, phase.openedMs);
    case "lightSampled":
      return lit(state, phase, event);
    case "cameraFailed":
      return frameFailed(state, phase, event);
    case "woke":
    case "stopped":
      return closeNow(state, phase, event.atMs);
    case "paused":
    case "resumed":
      return goesOn(state);
    case "shutterOpened":
      return stay(state, "this frame's shutter is open already");
    case "cameraReady":
      return stay(state, "the shutter is open: it is the frame before that is done");
    case "started":
    case "cameraConnected":
    case "cameraClosed":
      return stay(state, "the camera is connected and a frame is being exposed");
  }
}

/** The sky light meter may have seen enough light for this frame. */
function lit(
  state: WatchState,
  phase: Phase<"exposing">,
  { atMs, value }: Extract<PhaseEvent, { kind: "lightSampled" }>,
): WatchStep {
  const governor = observeLight(state.governor, { atMs, value });
  const seen = withGovernor(state, governor);
  return hasHadItsDose(governor, phase, atMs, state.known.settings.exposure)
    ? closeNow(seen, phase, atMs)
    : { state: seen, effects: [] };
}

function closeNow(
  state: WatchState,
  { frameIndex, openedMs }: Phase<"exposing">,
  atMs: MonotonicMs,
): WatchStep {
  const deadlineMs = silentMs(state.known, atMs);
  return enter(state, { kind: "closing", frameIndex, openedMs, deadlineMs }, [
    { kind: "closeShutter", frameIndex },
    { kind: "wake", atMs: deadlineMs },
  ]);
}

function reduceClosing(state: WatchState, phase: Phase<"closing">, event: PhaseEvent): WatchStep {
  switch (event.kind) {
    case "shutterClosed":
      return closed(state, event, phase.openedMs);
    case "cameraFailed":
      return frameFailed(state, phase, event);
    case "woke":
      return lost(state, phase, event.atMs);
    case "paused":
    case "resumed":
    case "stopped":
      return goesOn(state);
    case "lightSampled":
      return observeSample(state, event);
    case "shutterOpened":
      return stay(state, "this frame's shutter is being closed already");
    case "cameraReady":
      return stay(state, "the shutter has not closed yet: it is the frame before that is done");
    case "started":
    case "cameraConnected":
    case "cameraClosed":
      return stay(state, "the camera is connected and the shutter is being closed");
  }
}

function closed(
  state: WatchState,
  event: Extract<PhaseEvent, { kind: "shutterClosed" }>,
  openedMs: MonotonicMs,
): WatchStep {
  const { atMs, frameIndex, happened, closing } = event;
  const timed = guardTiming(state.known, closing, atMs);
  const taken = recordTaken(timed, { frameIndex, openedMs, happened }, atMs);
  const deadlineMs = silentMs(state.known, atMs);
  return enter(withKnown(state, taken), { kind: "readingOut", deadlineMs }, [
    { kind: "wake", atMs: deadlineMs },
  ]);
}

function reduceReadingOut(
  state: WatchState,
  _phase: Phase<"readingOut">,
  event: PhaseEvent,
): WatchStep {
  const { atMs } = event;
  switch (event.kind) {
    case "cameraReady":
      return goOn(state, atMs);
    case "cameraFailed":
      return event.gone && state.known.hand.kind !== "stop"
        ? recover(state, atMs, event.sentence, 0)
        : goOn(state, atMs);
    case "woke":
      return state.known.hand.kind === "stop"
        ? goOn(state, atMs)
        : recover(state, atMs, "The camera went silent after a frame.", 0);
    case "paused":
    case "resumed":
    case "stopped":
      return goesOn(state);
    case "lightSampled":
      return observeSample(state, event);
    case "shutterOpened":
      return openedLate(state, event);
    case "shutterClosed":
      return closedLate(state);
    case "started":
    case "cameraConnected":
    case "cameraClosed":
      return stay(state, "the camera is connected and reads out a frame");
  }
}
