import type { DaemonView, NightSummary, StateNotice, WatchView } from "../../core/api/messages.ts";
import { STATE_LOOKS, type StateKind } from "../../core/words/stateWords.ts";
import { DEFAULT_EXPOSURE_SETTINGS } from "../../core/exposure/settings.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { utcMs } from "../../core/units.ts";

/** When the made-up night begins. */
export const NIGHT_START = utcMs(Date.UTC(2026, 10, 25, 16, 30));

export const NIGHT_ID = "2026-11-25_hut-seven";

/** A frame with every field filled; each field that a test names matters to it. */
export function makeFrame(changes: Partial<FrameRecord> = {}): FrameRecord {
  const frameIndex = changes.frameIndex ?? 0;
  const exposure = { exposureSeconds: 7.43, iso: 3200, fNumber: 2.8 };
  return {
    frameIndex,
    cameraId: "virtual",
    status: "kept",
    ordered: exposure,
    reasons: ["sky 1.3 stops brighter than a minute ago", "kept under 7.5 s for the curtains"],
    targetStops: -2,
    openedUtcMs: utcMs(NIGHT_START + frameIndex * 10_000),
    happened: exposure,
    file: {
      path: `frames/${String(frameIndex).padStart(6, "0")}.jpg`,
      bytes: 400_000,
      sha256: frameIndex.toString(16).padStart(8, "0").padEnd(64, "a"),
      cameraName: `NV${String(frameIndex).padStart(6, "0")}.JPG`,
      cameraHandle: frameIndex + 1,
    },
    reading: {
      skyStops: -2.04,
      uncertaintyStops: 0.03,
      skyLuminanceCdM2: 0.0042,
      peakRatio: 4.2,
      clippedShare: { red: 0, green: 0.0031, blue: 0 },
      skyShare: 0.71,
      histogram: Array.from({ length: 64 }, (_, bin) =>
        Math.round(4000 * Math.exp(-(((bin - 18) / 7) ** 2)) + (bin === 63 ? 60 : 0)),
      ),
      motion: { kind: "measured", degPerSecond: 0.12, pxPerSecond: 3.1 },
      starWidthPx: 2.1,
      starCount: 84,
      remarks: [],
    },
    pace: "full",
    ...changes,
  };
}

function makeNight(changes: Partial<NightSummary> = {}): NightSummary {
  return {
    nightId: NIGHT_ID,
    name: "hut-seven",
    startUtcMs: NIGHT_START,
    latitudeDeg: 68.9,
    longitudeDeg: 27,
    placeName: "Hut Seven",
    isRehearsal: true,
    frameCount: 0,
    ...changes,
  };
}

/** One thing that is true of the night. */
export function makeState(kind: StateKind, changes: Partial<StateNotice> = {}): StateNotice {
  return { kind, sentence: "All is well.", sinceUtcMs: null, ...STATE_LOOKS[kind], ...changes };
}

export function makeWatch(changes: Partial<WatchView> = {}): WatchView {
  const sentence =
    changes.sentence ?? "All is well: full pace, every frame within a third of a stop.";
  const kind = changes.allIsWell === false ? "pictureAffected" : "well";
  return {
    cameraId: "virtual",
    cameraLabel: "Virtual camera",
    phase: "watching",
    states: [makeState(kind, { sentence })],
    sentence,
    allIsWell: true,
    pausedUntilUtcMs: null,
    pace: "full",
    isExposing: true,
    frameCount: 0,
    newest: null,
    batteryPercent: 82,
    batteryEndsUtcMs: null,
    cardFreeBytes: 51_000_000_000,
    cardFreeFrames: 2040,
    cardEndsUtcMs: null,
    nextFrameUtcMs: null,
    startsUtcMs: null,
    endsUtcMs: utcMs(NIGHT_START + 14 * 3_600_000),
    endsBy: "dawn",
    settings: DEFAULT_EXPOSURE_SETTINGS,
    guards: [],
    surges: [],
    gaps: [],
    ...changes,
  };
}

export function makeView(changes: Partial<DaemonView> = {}): DaemonView {
  return {
    version: "0.1.0",
    nowUtcMs: NIGHT_START,
    rate: 10,
    night: makeNight(),
    state: makeState("well"),
    watches: [makeWatch()],
    freeDiskBytes: 210_000_000_000,
    outside: "light",
    ...changes,
  };
}
