import type { WatchEffect } from "./effects.ts";
import type { PhaseEvent } from "./events.ts";
import { guardClock } from "./environmentGuards.ts";
import { clearGuard } from "./raiseGuard.ts";
import { endReason, guardFromCamera } from "./guards.ts";
import { observeSample } from "./knowledge.ts";
import { withCamera, withLoose } from "./knownParts.ts";
import type { WatchKnowledge, WatchState } from "./state.ts";
import {
  closedLate,
  connect,
  end,
  lookAgain,
  openedLate,
  openedUnowned,
  proceed,
  recover,
} from "./transitions.ts";
import {
  enter,
  goesOn,
  stay,
  withEffects,
  withKnown,
  type Phase,
  type WaitingPhase,
  type WatchStep,
} from "./watchStep.ts";

/** What happens while no frame is in hand and the shutter is closed. */
export function reduceWaiting(
  state: WatchState,
  phase: WaitingPhase,
  event: PhaseEvent,
): WatchStep {
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
    case "ending":
      return reduceEnding(state, phase, event);
  }
}

function reduceConnecting(
  state: WatchState,
  { attemptCount }: Phase<"connecting">,
  event: PhaseEvent,
): WatchStep {
  switch (event.kind) {
    case "cameraConnected":
      return connected(state, event);
    case "cameraFailed":
      return recover(state, event.atMs, event.sentence, attemptCount);
    case "woke":
      return recover(state, event.atMs, "The camera does not answer.", attemptCount);
    case "stopped":
      return end(state, event.atMs, "hand");
    case "paused":
    case "resumed":
      return goesOn(state);
    case "lightSampled":
      return observeSample(state, event);
    case "shutterOpened":
      return openedUnowned(state, event);
    case "shutterClosed":
      return closedLate(state);
    case "cameraReady":
      return stay(state, "no frame is in hand: the link that it came over is gone");
    case "started":
    case "cameraClosed":
      return stay(state, "the camera is being connected");
  }
}

type Connected = Extract<PhaseEvent, { kind: "cameraConnected" }>;

function connected(state: WatchState, event: Connected): WatchStep {
  const obstacle = obstacleOf(event);
  if (obstacle !== null) return lookAgain(state, event.atMs, obstacle);
  const { nextFrameIndex } = state.known.frames;
  const reconcile: readonly WatchEffect[] =
    nextFrameIndex > 0 ? [{ kind: "reconcileCard", beforeFrameIndex: nextFrameIndex }] : [];
  return withEffects(
    reconcile,
    proceed(withKnown(state, knowingCamera(state.known, event)), event.atMs),
  );
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

function knowingCamera(known: WatchKnowledge, event: Connected): WatchKnowledge {
  const fixedIso = event.fixedIso ?? null;
  const clocks = { ...known.camera.clocks, cameraLessOursMs: event.clockOffsetMs ?? null };
  const clear = guardClock(withCamera(clearGuard(known, "camera"), { clocks }), event.atMs);
  const exposure = {
    ...known.settings.exposure,
    // The only rung there is: the exposure is then governed by time alone, whatever the ISO cap.
    isoLadder: fixedIso === null ? event.isoLadder : [fixedIso],
    fNumber: event.fNumber ?? known.settings.exposure.fNumber,
  };
  const met = guardFromCamera(clear, { fixedIso, remarks: event.remarks ?? [] }, event.atMs);
  const { sky } = known;
  return {
    ...withCamera(met, { looseSinceMs: event.looseSinceMs ?? null, statusAskedMs: null }),
    settings: { ...known.settings, exposure },
    sky: { ...sky, probesLeft: event.isToneCurveKnown ? 0 : sky.probesLeft },
  };
}

/** Until the start, or until the next frame is due. */
function reduceBetween(state: WatchState, event: PhaseEvent): WatchStep {
  switch (event.kind) {
    case "woke":
    case "paused":
    case "stopped":
      return proceed(state, event.atMs);
    case "cameraFailed":
      return event.gone
        ? recover(state, event.atMs, event.sentence, 0)
        : stay(state, event.sentence);
    case "lightSampled":
      return observeSample(state, event);
    case "shutterOpened":
      return openedLate(state, event);
    case "shutterClosed":
      return closedLate(state);
    case "resumed":
      return stay(state, "frames are being taken already");
    case "cameraReady":
      return stay(state, "no frame is in hand; the next one is not due yet");
    case "started":
    case "cameraConnected":
    case "cameraClosed":
      return stay(state, "the camera is connected and the watch runs");
  }
}

function reducePaused(state: WatchState, event: PhaseEvent): WatchStep {
  switch (event.kind) {
    case "resumed":
    case "paused":
    case "stopped":
    case "woke":
      return proceed(state, event.atMs);
    case "cameraFailed":
      // A camera that was switched off for the pause is looked for all the same: it is to be there after it.
      return event.gone
        ? recover(state, event.atMs, event.sentence, 0)
        : stay(state, event.sentence);
    case "lightSampled":
      return observeSample(state, event);
    case "shutterOpened":
      return openedLate(state, event);
    case "shutterClosed":
      return closedLate(state);
    case "cameraReady":
      return stay(state, "no frame is in hand and the watch is paused");
    case "started":
    case "cameraConnected":
    case "cameraClosed":
      return stay(state, "the camera is connected and the watch is paused");
  }
}

function reduceRecovering(
  state: WatchState,
  { attemptCount }: Phase<"recovering">,
  event: PhaseEvent,
): WatchStep {
  switch (event.kind) {
    case "woke": {
      const by = endReason(state.known, event.atMs);
      return by ? end(state, event.atMs, by) : connect(state, event.atMs, attemptCount + 1);
    }
    case "cameraConnected":
      return connected(state, event);
    case "stopped":
      return end(state, event.atMs, "hand");
    case "paused":
    case "resumed":
      return goesOn(state);
    case "lightSampled":
      return observeSample(state, event);
    case "shutterOpened":
      return openedUnowned(state, event);
    case "shutterClosed":
      return closedLate(state);
    case "cameraReady":
      return stay(state, "no frame is in hand: the link that it came over is gone");
    case "cameraFailed":
      return stay(state, "the camera is known to be gone and is tried again at its time");
    case "started":
    case "cameraClosed":
      return stay(state, "the camera is being waited for");
  }
}

/** The watch is over; the camera is closed when the last frames have come, or will not come. */
function reduceEnding(state: WatchState, { by }: Phase<"ending">, event: PhaseEvent): WatchStep {
  switch (event.kind) {
    case "cameraClosed":
      // A computer that no watch needs may sleep.
      return enter(withKnown(state, withLoose(clearGuard(state.known, "sleep"), null)), {
        kind: "finished",
        by,
      });
    case "woke":
      return goesOn(state, [{ kind: "closeCamera" }]);
    case "cameraFailed":
      return event.gone ? goesOn(state, [{ kind: "closeCamera" }]) : stay(state, event.sentence);
    case "lightSampled":
      return observeSample(state, event);
    case "shutterOpened":
      return openedUnowned(state, event);
    case "shutterClosed":
      return closedLate(state);
    case "paused":
    case "resumed":
    case "stopped":
    case "started":
      return stay(state, "the watch is ending");
    case "cameraConnected":
    case "cameraReady":
      return stay(state, "no further frame is ordered: the watch is ending");
  }
}
