import { hasHadItsDose, observeLight } from "../exposure/governor.ts";
import type { MonotonicMs } from "../units.ts";
import { overdueMs, silentMs } from "./deadlines.ts";
import type { WatchEvent } from "./events.ts";
import { closeGap } from "../night/gaps.ts";
import { recordTaken } from "./ledger.ts";
import type { After, WatchState } from "./state.ts";
import { frameFailed, goOn, lost, recover } from "./transitions.ts";
import { enter, stay, type FramePhase, type Phase, type WatchStep } from "./watchStep.ts";
import { withGovernor } from "../night/withGovernor.ts";

/**
 * What happens with a frame in hand, from its order until the camera is ready for the next one.
 * Wherever the shutter may be open, the phase's deadline sees to its closing.
 */
export function reduceFrame(state: WatchState, phase: FramePhase, event: WatchEvent): WatchStep {
  if (event.kind === "paused") return wish(state, phase, "paused");
  if (event.kind === "resumed") return wish(state, phase, "next");
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

/** What is to come after the frame in hand; an end once decided stays. */
function wish(state: WatchState, phase: FramePhase, after: "paused" | "next"): WatchStep {
  const isEnding = phase.after !== "next" && phase.after !== "paused";
  return isEnding ? stay(state, "the watch is ending") : enter(state, { ...phase, after });
}

function reduceOrdered(state: WatchState, phase: Phase<"ordered">, event: WatchEvent): WatchStep {
  switch (event.kind) {
    case "shutterOpened":
      return opened(state, phase, event.atMs);
    case "shutterClosed":
      return closed(state, event, { openedMs: event.atMs, after: phase.after });
    case "cameraFailed":
      return frameFailed(state, phase, event);
    case "woke":
      return lost(state, phase, event.atMs);
    case "stopped":
      return enter(state, { ...phase, after: "hand" }, [
        { kind: "closeShutter", frameIndex: phase.frameIndex },
      ]);
    default:
      return stay(state, "a frame has been ordered");
  }
}

function opened(state: WatchState, phase: Phase<"ordered">, atMs: MonotonicMs): WatchStep {
  const { frameIndex, exposure, after } = phase;
  const deadlineMs = overdueMs(state, atMs, exposure.exposureSeconds);
  const exposing: Phase<"exposing"> = {
    kind: "exposing",
    openedMs: atMs,
    ...{ frameIndex, exposure, deadlineMs, after },
  };
  const open: WatchState = { ...closeGap(state, atMs), lastOpenedMs: atMs };
  if (after === "hand") return closeNow(open, exposing, atMs, "hand");
  return enter(open, exposing, [{ kind: "wake", atMs: deadlineMs }]);
}

function reduceExposing(state: WatchState, phase: Phase<"exposing">, event: WatchEvent): WatchStep {
  switch (event.kind) {
    case "shutterClosed":
      return closed(state, event, phase);
    case "lightSampled":
      return lit(state, phase, event);
    case "cameraFailed":
      return frameFailed(state, phase, event);
    case "woke":
      return closeNow(state, phase, event.atMs, phase.after);
    case "stopped":
      return closeNow(state, phase, event.atMs, "hand");
    default:
      return stay(state, "a frame is being exposed");
  }
}

/** The sky light meter may have seen enough light for this frame. */
function lit(
  state: WatchState,
  phase: Phase<"exposing">,
  { atMs, value }: Extract<WatchEvent, { kind: "lightSampled" }>,
): WatchStep {
  const governor = observeLight(state.governor, { atMs, value });
  const seen = withGovernor(state, governor);
  return hasHadItsDose(governor, phase, atMs, state.settings.exposure)
    ? closeNow(seen, phase, atMs, phase.after)
    : { state: seen, effects: [] };
}

function closeNow(
  state: WatchState,
  { frameIndex, openedMs }: Phase<"exposing">,
  atMs: MonotonicMs,
  after: After,
): WatchStep {
  const deadlineMs = silentMs(state, atMs);
  return enter(state, { kind: "closing", frameIndex, openedMs, deadlineMs, after }, [
    { kind: "closeShutter", frameIndex },
    { kind: "wake", atMs: deadlineMs },
  ]);
}

function reduceClosing(state: WatchState, phase: Phase<"closing">, event: WatchEvent): WatchStep {
  switch (event.kind) {
    case "shutterClosed":
      return closed(state, event, phase);
    case "cameraFailed":
      return frameFailed(state, phase, event);
    case "woke":
      return lost(state, phase, event.atMs);
    case "stopped":
      return enter(state, { ...phase, after: "hand" });
    default:
      return stay(state, "the shutter is being closed");
  }
}

function closed(
  state: WatchState,
  event: Extract<WatchEvent, { kind: "shutterClosed" }>,
  { openedMs, after }: { readonly openedMs: MonotonicMs; readonly after: After },
): WatchStep {
  const { atMs, frameIndex, happened } = event;
  const taken = recordTaken(state, { frameIndex, openedMs, happened }, atMs);
  const deadlineMs = silentMs(state, atMs);
  return enter(taken, { kind: "readingOut", deadlineMs, after }, [
    { kind: "wake", atMs: deadlineMs },
  ]);
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
      return event.gone && phase.after === "next"
        ? recover(state, event.atMs, event.sentence, 0)
        : goOn(state, event.atMs, phase.after);
    case "woke":
      return recover(state, event.atMs, "The camera went silent after a frame.", 0);
    case "stopped":
      return enter(state, { ...phase, after: "hand" });
    default:
      return stay(state, "the camera is reading out");
  }
}
