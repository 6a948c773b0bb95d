import type { WatchEffect } from "./effects.ts";
import type { WatchKnowledge, WatchPhaseState, WatchState } from "./state.ts";

/** What an event leads to: the next state, and what is to be done. */
export type WatchStep = { readonly state: WatchState; readonly effects: readonly WatchEffect[] };

/** One phase of the watch by its name. */
export type Phase<K extends WatchPhaseState["kind"]> = Extract<WatchPhaseState, { kind: K }>;

/** Phases with a frame in hand. */
export type FramePhase = Phase<"ordered" | "exposing" | "closing" | "readingOut">;

/** Phases of a running watch without a frame in hand. */
export type WaitingPhase = Phase<
  "connecting" | "waiting" | "between" | "paused" | "recovering" | "ending"
>;

/** Phases in which no watch runs. */
export type RestingPhase = Phase<"idle" | "finished">;

/** The watch goes to another phase. */
export function enter(
  state: WatchState,
  phase: WatchPhaseState,
  effects: readonly WatchEffect[] = [],
): WatchStep {
  const { known, governor, ignored } = state;
  return { state: { phase, known, governor, ignored }, effects };
}

/** The watch knowing something else. */
export function withKnown(state: WatchState, known: WatchKnowledge): WatchState {
  if (known === state.known) return state;
  const { phase, governor, ignored } = state;
  return { phase, known, governor, ignored };
}

/** The governor knowing something else. */
export function withGovernor(
  { phase, known, ignored }: WatchState,
  governor: WatchState["governor"],
): WatchState {
  return { phase, known, governor, ignored };
}

/** The phase goes on; what the event says has been taken in. */
export function goesOn(state: WatchState, effects: readonly WatchEffect[] = []): WatchStep {
  return { state, effects };
}

/** The event changes nothing; why is kept for anyone who asks. */
export function stay(state: WatchState, why: string): WatchStep {
  return { state: { ...state, ignored: why }, effects: [] };
}

/** The same step with something to be done before it. */
export function withEffects(effects: readonly WatchEffect[], step: WatchStep): WatchStep {
  return { state: step.state, effects: [...effects, ...step.effects] };
}
