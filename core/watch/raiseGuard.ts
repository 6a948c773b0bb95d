import type { MonotonicMs } from "../units.ts";
import type { GuardState, WatchState } from "./state.ts";

/** Raises a guard, or changes what it says; its beginning stays. */
export function raiseGuard(
  state: WatchState,
  atMs: MonotonicMs,
  notice: Omit<GuardState, "sinceMs">,
): WatchState {
  const before = state.guards.find((guard) => guard.guard === notice.guard);
  if (before?.sentence === notice.sentence && before.level === notice.level) return state;
  const raised: GuardState = { ...notice, sinceMs: before?.sinceMs ?? atMs };
  return {
    ...state,
    guards: [...state.guards.filter((guard) => guard.guard !== notice.guard), raised],
  };
}

/** Takes a guard down; the same state if it was not up. */
export function clearGuard(state: WatchState, name: GuardState["guard"]): WatchState {
  return state.guards.some((guard) => guard.guard === name)
    ? { ...state, guards: state.guards.filter((guard) => guard.guard !== name) }
    : state;
}
