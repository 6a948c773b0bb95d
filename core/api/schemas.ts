import * as v from "valibot";

import type { ExposureSettings } from "../exposure/settings.ts";
import type { Stray } from "../frames/stray.ts";
import type { FrameRecord } from "../watch/frameRecord.ts";
import { OUTSIDE } from "../sky/light.ts";
import type { UtcMs } from "../units.ts";
import { STATE_LOOKS, type StateKind } from "../words/stateWords.ts";
import type {
  DaemonView,
  NightTimeline,
  NightSummary,
  ServerMessage,
  StateNotice,
  WatchView,
} from "./messages.ts";

/**
 * The messages of the API as schemas: the daemon's document of its API is written from them, and
 * the tests hold every answer against them. Each is typed by the message it describes, so that a
 * field added there and forgotten here does not compile. Source: `messages.ts`.
 */

const share = v.pipe(v.number(), v.minValue(0), v.maxValue(1));
const count = v.pipe(v.number(), v.integer(), v.minValue(0));
const utcMs = v.pipe(
  v.number(),
  v.description("milliseconds since 1970-01-01T00:00:00 UTC"),
) as unknown as v.GenericSchema<UtcMs>;
const pace = v.picklist(["full", "sentinel"]);

const exposure = v.object({
  exposureSeconds: v.number(),
  iso: v.number(),
  fNumber: v.number(),
});

const reading = v.object({
  skyStops: v.pipe(v.number(), v.description("metered sky, stops from mid-grey")),
  uncertaintyStops: v.number(),
  skyLuminanceCdM2: v.number(),
  peakRatio: v.number(),
  clippedShare: v.object({ red: share, green: share, blue: share }),
  skyShare: share,
  histogram: v.array(v.number()),
  motion: v.variant("kind", [
    v.object({ kind: v.literal("unknown"), why: v.string() }),
    v.object({
      kind: v.literal("measured"),
      degPerSecond: v.number(),
      pxPerSecond: v.number(),
    }),
  ]),
  starWidthPx: v.nullable(v.number()),
  starCount: count,
  remarks: v.array(v.string()),
});

/** One frame. Meaning and units: `core/watch/frameRecord.ts`. */
export const frameRecordSchema: v.GenericSchema<FrameRecord> = v.object({
  frameIndex: count,
  cameraId: v.string(),
  status: v.picklist(["ordered", "taken", "kept", "missing"]),
  ordered: exposure,
  reasons: v.array(v.string()),
  targetStops: v.number(),
  openedUtcMs: v.nullable(utcMs),
  happened: v.nullable(exposure),
  file: v.nullable(
    v.object({
      path: v.string(),
      bytes: count,
      sha256: v.string(),
      cameraName: v.string(),
      cameraHandle: v.nullable(v.number()),
    }),
  ),
  reading: v.nullable(reading),
  pace,
});

/** A picture that is no frame's. Meaning: `core/frames/stray.ts`. */
export const straySchema: v.GenericSchema<Stray> = v.object({
  cameraId: v.string(),
  card: v.object({
    cameraHandle: v.number(),
    cameraName: v.string(),
    bytes: count,
    captureDate: v.string(),
  }),
  file: v.object({ path: v.string(), bytes: count, sha256: v.string() }),
  why: v.string(),
  foundUtcMs: utcMs,
});

/** What steers the governor. Meaning and units: `core/exposure/settings.ts`. */
const exposureSettingsSchema: v.GenericSchema<ExposureSettings> = v.object({
  targetStops: v.number(),
  fNumber: v.number(),
  isoMin: v.number(),
  isoMax: v.number(),
  isoLadder: v.array(v.number()),
  exposureSecondsMin: v.number(),
  exposureSecondsMax: v.number(),
  intervalSeconds: v.number(),
  busySeconds: v.number(),
  focalLengthMm: v.number(),
  sensorWidthMm: v.nullable(v.number()),
  pixelPitchUm: v.nullable(v.number()),
  blurPx: v.number(),
  clippedShareMax: v.number(),
  highlightHeadroomStops: v.number(),
  stopsPerMinuteMax: v.nullable(v.number()),
});

/** The worst that is true, or one of the things that are. Meaning: `messages.ts`. */
const stateNoticeSchema: v.GenericSchema<StateNotice> = v.object({
  kind: v.picklist(Object.keys(STATE_LOOKS) as StateKind[]),
  sentence: v.string(),
  sinceUtcMs: v.nullable(utcMs),
  sign: v.string(),
  tabTitle: v.string(),
  alarm: v.picklist(["atOnce", "afterTwoMinutes", "never"]),
});

/** What happened in one camera's night. Meaning and units: `messages.ts`. */
const nightTimeline = {
  guards: v.array(
    v.object({
      guard: v.picklist([
        "battery",
        "storage",
        "cold",
        "dew",
        "focus",
        "dawn",
        "camera",
        "clock",
        "timing",
        "sleep",
      ]),
      level: v.picklist(["note", "warning", "stop"]),
      sentence: v.string(),
      sinceUtcMs: utcMs,
    }),
  ),
  surges: v.array(
    v.object({ startUtcMs: utcMs, endUtcMs: v.nullable(utcMs), riseStops: v.number() }),
  ),
  gaps: v.array(v.object({ startUtcMs: utcMs, endUtcMs: v.nullable(utcMs), why: v.string() })),
};

export const nightTimelineSchema: v.GenericSchema<NightTimeline> = v.object(nightTimeline);

/** One camera's watch. Meaning and units: `messages.ts`. */
export const watchViewSchema: v.GenericSchema<WatchView> = v.object({
  cameraId: v.string(),
  cameraLabel: v.string(),
  phase: v.picklist([
    "idle",
    "waiting",
    "connecting",
    "watching",
    "paused",
    "recovering",
    "finished",
  ]),
  states: v.array(stateNoticeSchema),
  sentence: v.string(),
  allIsWell: v.boolean(),
  pausedUntilUtcMs: v.nullable(utcMs),
  pace,
  isExposing: v.boolean(),
  frameCount: count,
  newest: v.nullable(frameRecordSchema),
  batteryPercent: v.nullable(v.number()),
  batteryEndsUtcMs: v.nullable(utcMs),
  cardFreeBytes: v.nullable(v.number()),
  cardFreeFrames: v.nullable(v.number()),
  cardEndsUtcMs: v.nullable(utcMs),
  nextFrameUtcMs: v.nullable(utcMs),
  startsUtcMs: v.nullable(utcMs),
  endsUtcMs: v.nullable(utcMs),
  endsBy: v.picklist(["time", "frames", "dawn", "battery", "card", "hand"]),
  settings: exposureSettingsSchema,
  ...nightTimeline,
});

/** One night of the list. Meaning: `messages.ts`. */
export const nightSummarySchema: v.GenericSchema<NightSummary> = v.object({
  nightId: v.string(),
  name: v.string(),
  startUtcMs: utcMs,
  latitudeDeg: v.number(),
  longitudeDeg: v.number(),
  placeName: v.string(),
  isRehearsal: v.boolean(),
  frameCount: count,
});

/** The daemon's whole state. Meaning: `messages.ts`. */
export const daemonViewSchema: v.GenericSchema<DaemonView> = v.object({
  version: v.string(),
  nowUtcMs: utcMs,
  rate: v.number(),
  night: v.nullable(nightSummarySchema),
  state: stateNoticeSchema,
  watches: v.array(watchViewSchema),
  freeDiskBytes: v.nullable(v.number()),
  outside: v.picklist(OUTSIDE),
});

/** What the socket at `/api/live` pushes. Meaning: `messages.ts`. */
export const serverMessageSchema: v.GenericSchema<ServerMessage> = v.variant("kind", [
  v.object({ kind: v.literal("state"), state: daemonViewSchema as v.GenericSchema<DaemonView> }),
  v.object({
    kind: v.literal("frame"),
    nightId: v.string(),
    frame: frameRecordSchema as v.GenericSchema<FrameRecord>,
  }),
]);

/** How every error is answered: a stable code and one sentence for a person. */
export const errorAnswerSchema = v.object({
  code: v.pipe(v.string(), v.description("a code of core/errors.ts, never renamed")),
  sentence: v.string(),
});

export const healthViewSchema = v.object({
  isWell: v.boolean(),
  sentence: v.string(),
  newestFrameAgeSeconds: v.nullable(v.number()),
  version: v.string(),
});
