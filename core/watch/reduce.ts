import { observeFrame, startGovernor } from "../exposure/governor.ts";
import { dueMs, fullPaceMs, wakeMs } from "./deadlines.ts";
import { isKnowledgeEvent, type PhaseEvent, type WatchEvent } from "./events.ts";
import { reduceFrame } from "./framePhases.ts";
import { WATCH_ON } from "./handWord.ts";
import { handWordAfter } from "./handWordAfter.ts";
import { idleWatch } from "./idleWatch.ts";
import { recordKnowledge } from "./knowledge.ts";
import { withLoose } from "./knownParts.ts";
import type { WatchKnowledge, WatchPhaseState, WatchState } from "./state.ts";
import {
  closedLate,
  connect,
  end,
  nothingIsOnItsWay,
  openedUnowned,
  proceed,
} from "./transitions.ts";
import { reduceWaiting } from "./waitingPhases.ts";
import { stay, withEffects, withKnown, type RestingPhase, type WatchStep } from "./watchStep.ts";

/**
 * The watch: what happens next, from where it stands and what has just happened. Pure: the same
 * events give the same decisions, at whatever rate the clock ran.
 *
 * Every pair of phase and event is decided by name; what is ignored says why (`state.ignored`).
 */
export function reduceWatch(before: WatchState, event: WatchEvent): WatchStep {
  const state: WatchState = before.ignored === null ? before : { ...before, ignored: null };
  if (isKnowledgeEvent(event)) return afterRecording(recordKnowledge(state, event), event);
  if (isEarly(state, event)) return stay(state, "it is not time yet");
  if (isAnotherFrames(state.phase, event)) return stay(state, "another frame's shutter");
  if (isSaidAlready(state, event)) return stay(state, "nobody has paused the watch");
  return reducePhase(withWordOnShutter(state, event), event);
}

function reducePhase(state: WatchState, event: PhaseEvent): WatchStep {
  const { phase } = state;
  switch (phase.kind) {
    case "idle":
    case "finished":
      return reduceResting(state, phase, event);
    case "ordered":
    case "exposing":
    case "closing":
    case "readingOut":
      return reduceFrame(withHandWord(state, event), phase, event);
    case "connecting":
    case "waiting":
    case "between":
    case "paused":
    case "recovering":
      return reduceWaiting(withHandWord(state, event), phase, event);
    case "ending":
      return reduceWaiting(state, phase, event);
  }
}

/** A failure that reports an open shutter is believed, whatever the phase makes of it. */
function withWordOnShutter(state: WatchState, event: PhaseEvent): WatchState {
  const looseSinceMs = event.kind === "cameraFailed" ? (event.looseSinceMs ?? null) : null;
  return looseSinceMs === null ? state : withKnown(state, withLoose(state.known, looseSinceMs));
}

/** What the hand says is a fact at once, whatever the phase makes of it. */
function withHandWord(state: WatchState, event: PhaseEvent): WatchState {
  if (event.kind === "started") return state;
  const hand = handWordAfter(state.known.hand, event);
  return hand === state.known.hand ? state : withKnown(state, { ...state.known, hand });
}

/** A wake that another phase asked for, or a timer that is a little early. */
function isEarly(state: WatchState, event: WatchEvent): boolean {
  if (event.kind !== "woke") return false;
  const dueAtMs = wakeMs(state);
  return dueAtMs !== null && event.atMs < dueAtMs;
}

function isSaidAlready({ phase, known }: WatchState, event: WatchEvent): boolean {
  const isRunning = phase.kind !== "idle" && phase.kind !== "ending" && phase.kind !== "finished";
  return event.kind === "resumed" && isRunning && known.hand.kind === "watch";
}

function isAnotherFrames(phase: WatchPhaseState, event: WatchEvent): boolean {
  const isShutters = event.kind === "shutterOpened" || event.kind === "shutterClosed";
  return isShutters && "frameIndex" in phase && event.frameIndex !== phase.frameIndex;
}

/** What was learned may end a wait: a surge begins, or the last frame has come in. */
function afterRecording(recorded: WatchStep, event: WatchEvent): WatchStep {
  const { state, effects } = recorded;
  const { kind } = state.phase;
  if (kind === "between" && endsTheWait(state, event)) {
    return withEffects(effects, proceed(state, event.atMs));
  }
  if (kind === "ending" && nothingIsOnItsWay(state.known)) {
    return { state, effects: [...effects, { kind: "closeCamera" }] };
  }
  return recorded;
}

/** Nothing is left to wait for, or a surge has begun that does not let sentinel pace go on. */
function endsTheWait({ known }: WatchState, { kind, atMs }: WatchEvent): boolean {
  if (kind !== "readingArrived" && kind !== "readingFailed") return false;
  const isInSurge = known.sky.surges.at(-1)?.endMs === null;
  const isSurgeDue = isInSurge && kind === "readingArrived" && atMs >= fullPaceMs(known);
  return isSurgeDue || dueMs(known, atMs) <= atMs;
}

function reduceResting(state: WatchState, phase: RestingPhase, event: PhaseEvent): WatchStep {
  switch (event.kind) {
    case "started":
      return begin(event);
    case "shutterOpened":
      return openedUnowned(state, event);
    case "shutterClosed":
      return closedLate(state);
    case "paused":
    case "resumed":
    case "stopped":
    case "woke":
    case "cameraConnected":
    case "cameraFailed":
    case "cameraReady":
    case "cameraClosed":
    case "lightSampled":
      return stay(state, phase.kind === "idle" ? "no watch has begun" : "the watch is over");
  }
}

function begin(event: Extract<WatchEvent, { kind: "started" }>): WatchStep {
  const governor = event.history.reduce(
    (known, observation) => observeFrame(known, observation, event.settings.exposure),
    startGovernor(event.first),
  );
  const idle = idleWatch(event.settings);
  const known: WatchKnowledge = {
    ...idle.known,
    hand: event.hand ?? WATCH_ON,
    frames: { ...idle.known.frames, nextFrameIndex: event.nextFrameIndex },
    sky: { ...idle.known.sky, surges: event.earlier?.surges ?? [] },
    gaps: event.earlier?.gaps ?? [],
  };
  const fresh: WatchState = { ...idle, known, governor };
  // A night that was over before a break is not taken up again by a restart.
  return known.hand.kind === "stop"
    ? end(fresh, event.atMs, event.endedBy ?? "hand")
    : connect(fresh, event.atMs, 1);
}
