import { DEFAULT_EXPOSURE_SETTINGS, type ExposureSettings } from "../exposure/settings.ts";
import type { TwilightLift } from "../exposure/twilightTarget.ts";
import type { MonotonicMs } from "../units.ts";

/** What one watch is asked to do; changed only by an event. */
export type WatchSettings = {
  readonly exposure: ExposureSettings;
  /** How far above the exposure's target the wanted brightness is in twilight; empty: never. */
  readonly twilightLift: TwilightLift;
  /** Wait until then before the first frame; null: begin at once. */
  readonly startMs: MonotonicMs | null;
  /** The first of these that comes ends the watch; null: not set. */
  readonly untilMs: MonotonicMs | null;
  readonly dawnMs: MonotonicMs | null;
  readonly frameCountMax: number | null;
  /** Start to start while nothing happens; null: full pace all night. */
  readonly sentinelIntervalSeconds: number | null;
  /** Nothing happening for this long brings the sentinel pace. */
  readonly quietBeforeSentinelSeconds: number;
  /** A camera that is ready waits no longer than this for the newest frame's reading. */
  readonly readingGraceSeconds: number;
  /** Frames at the start that vary the exposure to learn a tone curve not yet known; 0: none. */
  readonly probeCountMax: number;
  /** Battery, percent: below the first a warning, below the second the watch ends in order. */
  readonly batteryWarningPercent: number;
  readonly batteryStopPercent: number;
  /** Free frames on the card at which a warning is given. */
  readonly cardWarningFrames: number;
  /** The camera counts as lost when it is silent this long after something was due. */
  readonly silenceSecondsMax: number;
  /** Attempts to reconnect in a row before the watch asks for help. */
  readonly quickAttemptCount: number;
};

/** Common practice, no source: figures a photographer would set for a winter night. */
export const DEFAULT_WATCH_SETTINGS: WatchSettings = {
  exposure: DEFAULT_EXPOSURE_SETTINGS,
  twilightLift: [],
  startMs: null,
  untilMs: null,
  dawnMs: null,
  frameCountMax: null,
  sentinelIntervalSeconds: null,
  quietBeforeSentinelSeconds: 1200,
  readingGraceSeconds: 0,
  probeCountMax: 0,
  batteryWarningPercent: 20,
  batteryStopPercent: 4,
  cardWarningFrames: 60,
  silenceSecondsMax: 20,
  quickAttemptCount: 6,
};
