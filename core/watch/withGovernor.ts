import type { GovernorState } from "../exposure/governor.ts";
import type { WatchState } from "./state.ts";

/**
 * The watch with another governor. Spelled out because the light meter asks for it ten times a
 * second all night, and copying this many fields by spreading takes twenty times as long.
 */
export function withGovernor(state: WatchState, governor: GovernorState): WatchState {
  return {
    phase: state.phase,
    hand: state.hand,
    settings: state.settings,
    governor,
    surge: state.surge,
    stars: state.stars,
    nextFrameIndex: state.nextFrameIndex,
    takenCount: state.takenCount,
    taken: state.taken,
    unkeptCount: state.unkeptCount,
    lastOpenedMs: state.lastOpenedMs,
    lastClosedMs: state.lastClosedMs,
    cadenceMs: state.cadenceMs,
    looseSinceMs: state.looseSinceMs,
    pictures: state.pictures,
    lateness: state.lateness,
    readingDelaysMs: state.readingDelaysMs,
    pace: state.pace,
    probesLeft: state.probesLeft,
    quietSinceMs: state.quietSinceMs,
    batteryPercent: state.batteryPercent,
    batteryFalls: state.batteryFalls,
    freeBytes: state.freeBytes,
    freeFrames: state.freeFrames,
    climate: state.climate,
    clocks: state.clocks,
    statusAskedMs: state.statusAskedMs,
    guards: state.guards,
    surges: state.surges,
    gaps: state.gaps,
    ignored: state.ignored,
  };
}
