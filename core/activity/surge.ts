import {
  isUsable,
  levelOf,
  middleSecondsOf,
  type FrameObservation,
} from "../exposure/observation.ts";

/** Levels of the last minutes, and whether a surge is under way. */
export type SurgeState = {
  readonly recent: readonly { readonly atSeconds: number; readonly level: number }[];
  /** Level of the quiet before the surge that is under way; null: no surge. */
  readonly quietLevel: number | null;
};

/** What the newest frame did to the watch for surges. */
export type SurgeStep = {
  readonly state: SurgeState;
  readonly change: "onset" | "end" | null;
  /** Rise over the quiet before, stops; 0 without a surge. */
  readonly riseStops: number;
};

const MEMORY_SECONDS = 600;
const ONSET_STOPS = 1;
const END_STOPS = 0.4;

export function startSurgeWatch(): SurgeState {
  return { recent: [], quietLevel: null };
}

/** Tells from the frames' levels whether the aurora surges. */
export function observeActivity(state: SurgeState, observation: FrameObservation): SurgeStep {
  if (!isUsable(observation)) return { state, change: null, riseStops: 0 };
  const note = { atSeconds: middleSecondsOf(observation), level: levelOf(observation) };
  const recent = [...state.recent, note].filter(
    ({ atSeconds }) => atSeconds > note.atSeconds - MEMORY_SECONDS,
  );
  const earlier = recent.slice(0, -1).map(({ level }) => level);
  const quiet = state.quietLevel ?? median(earlier) ?? note.level;
  const riseStops = note.level - quiet;
  if (state.quietLevel === null && riseStops >= ONSET_STOPS) {
    return { state: { recent, quietLevel: quiet }, change: "onset", riseStops };
  }
  if (state.quietLevel !== null && riseStops < END_STOPS) {
    return { state: { recent, quietLevel: null }, change: "end", riseStops };
  }
  return {
    state: { ...state, recent },
    change: null,
    riseStops: state.quietLevel === null ? 0 : riseStops,
  };
}

function median(values: readonly number[]): number | null {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)] ?? null;
}
