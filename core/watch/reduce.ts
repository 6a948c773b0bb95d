import { observeFrame, startGovernor } from "../exposure/governor.ts";
import { dueMs, fullPaceMs, wakeMs } from "./deadlines.ts";
import type { WatchEvent } from "./events.ts";
import { reduceFrame } from "./framePhases.ts";
import { idleWatch } from "./idleWatch.ts";
import { recordInLedger } from "./ledger.ts";
import type { WatchPhaseState, WatchState } from "./state.ts";
import { connect, nothingIsOnItsWay, proceed } from "./transitions.ts";
import { reduceWaiting } from "./waitingPhases.ts";
import { stay, withEffects, type WatchStep } from "./watchStep.ts";

/**
 * The watch: what happens next, from where it stands and what has just happened. Pure: the same
 * events give the same decisions, at whatever rate the clock ran.
 */
export function reduceWatch(before: WatchState, event: WatchEvent): WatchStep {
  const state: WatchState = before.ignored === null ? before : { ...before, ignored: null };
  const recorded = recordInLedger(state, event);
  if (recorded) return afterLedger(recorded, event);
  if (event.kind === "started") return reduceStarted(state, event);
  const { phase } = state;
  if (isEarly(phase, event)) return stay(state, "it is not time yet");
  if (isAnotherFrames(phase, event)) return stay(state, "another frame's shutter");
  switch (phase.kind) {
    case "idle":
    case "finished":
      return stay(state, "no watch is running");
    case "ordered":
    case "exposing":
    case "closing":
    case "readingOut":
      return reduceFrame(state, phase, event);
    case "connecting":
    case "waiting":
    case "between":
    case "paused":
    case "recovering":
    case "ending":
      return reduceWaiting(state, phase, event);
  }
}

/** A wake that another phase asked for, or a timer that is a little early. */
function isEarly(phase: WatchPhaseState, event: WatchEvent): boolean {
  const dueAtMs = wakeMs(phase);
  return event.kind === "woke" && dueAtMs !== null && event.atMs < dueAtMs;
}

function isAnotherFrames(phase: WatchPhaseState, event: WatchEvent): boolean {
  const isShutters = event.kind === "shutterOpened" || event.kind === "shutterClosed";
  return isShutters && "frameIndex" in phase && event.frameIndex !== phase.frameIndex;
}

/** What the ledger learned may end a wait: a surge begins, or the last frame has come in. */
function afterLedger(recorded: WatchStep, event: WatchEvent): WatchStep {
  const { state, effects } = recorded;
  const { kind } = state.phase;
  if (kind === "between" && endsTheWait(state, event)) {
    return withEffects(effects, proceed(state, event.atMs));
  }
  if (kind === "ending" && nothingIsOnItsWay(state)) {
    return { state, effects: [...effects, { kind: "closeCamera" }] };
  }
  return recorded;
}

/** Nothing is left to wait for, or a surge has begun that does not let sentinel pace go on. */
function endsTheWait(state: WatchState, { kind, atMs }: WatchEvent): boolean {
  if (kind !== "readingArrived" && kind !== "readingFailed") return false;
  const isInSurge = state.surges.at(-1)?.endMs === null;
  const isSurgeDue = isInSurge && kind === "readingArrived" && atMs >= fullPaceMs(state);
  return isSurgeDue || dueMs(state, atMs) <= atMs;
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
    surges: event.earlier?.surges ?? [],
    gaps: event.earlier?.gaps ?? [],
  };
  return connect(fresh, event.atMs, 1);
}
