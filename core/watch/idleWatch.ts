import { startSurgeWatch } from "../activity/surge.ts";
import { startGovernor } from "../exposure/governor.ts";
import { WATCH_ON } from "./handWord.ts";
import { NO_TROUBLE } from "./pictureTrack.ts";
import { NOT_LATE } from "./latenessTrack.ts";
import type { CameraKnowledge, FrameKnowledge, SkyKnowledge, WatchState } from "./state.ts";
import { DEFAULT_WATCH_SETTINGS, type WatchSettings } from "./watchSettings.ts";

/** A watch that has not begun. */
export function idleWatch(settings: WatchSettings = DEFAULT_WATCH_SETTINGS): WatchState {
  return {
    phase: { kind: "idle" },
    known: {
      frames: NO_FRAMES,
      sky: noSky(settings),
      camera: NO_CAMERA,
      ...{ hand: WATCH_ON, settings, climate: null, guards: [], gaps: [] },
    },
    governor: startGovernor(null),
    ignored: null,
  };
}

const NO_FRAMES: FrameKnowledge = {
  nextFrameIndex: 0,
  takenCount: 0,
  taken: [],
  unkeptCount: 0,
  lastOpenedMs: null,
  lastClosedMs: null,
  cadenceMs: null,
  pictures: NO_TROUBLE,
  readingDelaysMs: [],
};

function noSky(settings: WatchSettings): SkyKnowledge {
  return {
    surge: startSurgeWatch(),
    surges: [],
    stars: { bestWidthPx: null, bestCount: 0, worseCount: 0 },
    pace: "full",
    probesLeft: settings.probeCountMax,
    quietSinceMs: null,
  };
}

const NO_CAMERA: CameraKnowledge = {
  looseSinceMs: null,
  lateness: NOT_LATE,
  batteryPercent: null,
  batteryFalls: [],
  freeBytes: null,
  freeFrames: null,
  clocks: { cameraLessOursMs: null, oursLessGnssMs: null },
  statusAskedMs: null,
};
