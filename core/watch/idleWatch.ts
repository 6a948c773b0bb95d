import { startSurgeWatch } from "../activity/surge.ts";
import { startGovernor } from "../exposure/governor.ts";
import { WATCH_ON } from "./handWord.ts";
import { NO_TROUBLE } from "./pictureTrack.ts";
import { NOT_LATE } from "./latenessTrack.ts";
import type { WatchState } from "./state.ts";
import { DEFAULT_WATCH_SETTINGS, type WatchSettings } from "./watchSettings.ts";

/** A watch that has not begun. */
export function idleWatch(settings: WatchSettings = DEFAULT_WATCH_SETTINGS): WatchState {
  return {
    phase: { kind: "idle" },
    hand: WATCH_ON,
    settings,
    governor: startGovernor(null),
    surge: startSurgeWatch(),
    stars: { bestWidthPx: null, bestCount: 0, worseCount: 0 },
    nextFrameIndex: 0,
    takenCount: 0,
    taken: [],
    unkeptCount: 0,
    lastOpenedMs: null,
    lastClosedMs: null,
    cadenceMs: null,
    looseSinceMs: null,
    pictures: NO_TROUBLE,
    lateness: NOT_LATE,
    readingDelaysMs: [],
    pace: "full",
    probesLeft: settings.probeCountMax,
    quietSinceMs: null,
    batteryPercent: null,
    batteryFalls: [],
    freeBytes: null,
    freeFrames: null,
    climate: null,
    clocks: { cameraLessOursMs: null, oursLessGnssMs: null },
    statusAskedMs: null,
    guards: [],
    surges: [],
    gaps: [],
    ignored: null,
  };
}
