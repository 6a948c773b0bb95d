import type { MonotonicMs } from "../units.ts";
import type { GuardState, WatchKnowledge } from "./state.ts";

/** Raises a guard, or changes what it says; its beginning stays. */
export function raiseGuard(
  known: WatchKnowledge,
  atMs: MonotonicMs,
  notice: Omit<GuardState, "sinceMs">,
): WatchKnowledge {
  const before = known.guards.find((guard) => guard.guard === notice.guard);
  if (before?.sentence === notice.sentence && before.level === notice.level) return known;
  const raised: GuardState = { ...notice, sinceMs: before?.sinceMs ?? atMs };
  return {
    ...known,
    guards: [...known.guards.filter((guard) => guard.guard !== notice.guard), raised],
  };
}

/** Takes a guard down; the same knowledge if it was not up. */
export function clearGuard(known: WatchKnowledge, name: GuardState["guard"]): WatchKnowledge {
  return known.guards.some((guard) => guard.guard === name)
    ? { ...known, guards: known.guards.filter((guard) => guard.guard !== name) }
    : known;
}
