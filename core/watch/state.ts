import type { GuardNotice } from "./guardNotice.ts";
import type { SurgeState } from "../activity/surge.ts";
import type { Exposure } from "../exposure/exposure.ts";
import type { GovernorState } from "../exposure/governor.ts";
import type { MonotonicMs } from "../units.ts";
import type { HandWord } from "./handWord.ts";
import type { LatenessTrack } from "./latenessTrack.ts";
import type { PictureTrack } from "./pictureTrack.ts";
import type { BatteryFall } from "./batteryDrain.ts";
import type { WatchSettings } from "./watchSettings.ts";

/** What ended a watch. */
export type EndedBy = "time" | "frames" | "dawn" | "battery" | "card" | "hand";

/**
 * Where the watch stands. The shutter can be open only in `ordered`, `exposing` and `closing`;
 * each of them carries the deadline by which it must have closed.
 */
export type WatchPhaseState =
  | { readonly kind: "idle" }
  | { readonly kind: "connecting"; readonly attemptCount: number; readonly deadlineMs: MonotonicMs }
  | { readonly kind: "waiting"; readonly startMs: MonotonicMs }
  | { readonly kind: "between"; readonly notBeforeMs: MonotonicMs }
  | {
      readonly kind: "ordered";
      readonly frameIndex: number;
      readonly exposure: Exposure;
      readonly deadlineMs: MonotonicMs;
    }
  | {
      readonly kind: "exposing";
      readonly frameIndex: number;
      readonly exposure: Exposure;
      readonly openedMs: MonotonicMs;
      readonly deadlineMs: MonotonicMs;
    }
  | {
      readonly kind: "closing";
      readonly frameIndex: number;
      readonly openedMs: MonotonicMs;
      readonly deadlineMs: MonotonicMs;
    }
  | { readonly kind: "readingOut"; readonly deadlineMs: MonotonicMs }
  | { readonly kind: "paused" }
  | {
      readonly kind: "recovering";
      /** The link is lost; the camera refused a frame; or it cannot be used as its dial stands. */
      readonly why: "gone" | "refused" | "unusable";
      readonly attemptCount: number;
      readonly retryMs: MonotonicMs;
      readonly sentence: string;
    }
  /** Over; the last frames may still be on their way until `closeMs`. */
  | { readonly kind: "ending"; readonly by: EndedBy; readonly closeMs: MonotonicMs }
  | { readonly kind: "finished"; readonly by: EndedBy };

/** A frame whose shutter has closed and whose reading has not come yet. */
export type TakenFrame = {
  readonly frameIndex: number;
  readonly openedMs: MonotonicMs;
  readonly happened: Exposure;
};

/** A guard as the reducer knows it, on the night's clock. */
export type GuardState = Pick<GuardNotice, "guard" | "level" | "sentence"> & {
  readonly sinceMs: MonotonicMs;
};

/** A surge of the night; `endMs` null: it is still on. */
export type SurgeSpan = {
  readonly startMs: MonotonicMs;
  readonly endMs: MonotonicMs | null;
  readonly riseStops: number;
};

/** A time without frames, and why; `endMs` null: it is still open. */
export type GapSpan = {
  readonly startMs: MonotonicMs;
  readonly endMs: MonotonicMs | null;
  readonly why: string;
};

/** Width and number of the stars when the night was at its sharpest, and how they stand now. */
export type StarTrack = {
  readonly bestWidthPx: number | null;
  readonly bestCount: number;
  /** Frames in a row in which the stars were wider and fewer. */
  readonly worseCount: number;
};

/** One watch; plain data. */
export type WatchState = {
  readonly phase: WatchPhaseState;
  readonly known: WatchKnowledge;
  readonly governor: GovernorState;
  /** Why the last event changed nothing, for the log. */
  readonly ignored: string | null;
};

/** What one watch was given and has seen of the night, in parts that change together. */
export type WatchKnowledge = {
  readonly frames: FrameKnowledge;
  readonly sky: SkyKnowledge;
  readonly camera: CameraKnowledge;
  readonly hand: HandWord;
  readonly settings: WatchSettings;
  /** What the climate sensor last said; null: there is none. */
  readonly climate: {
    readonly temperatureC: number;
    readonly humidityPercent: number | null;
  } | null;
  readonly guards: readonly GuardState[];
  readonly gaps: readonly GapSpan[];
};

/** Its own frames, and how they come. */
export type FrameKnowledge = {
  readonly nextFrameIndex: number;
  /** Frames whose shutter closed in this watch. */
  readonly takenCount: number;
  readonly taken: readonly TakenFrame[];
  /** Frames not yet kept on disk. */
  readonly unkeptCount: number;
  readonly lastOpenedMs: MonotonicMs | null;
  readonly lastClosedMs: MonotonicMs | null;
  /** From the opening before the last one to the last, where no gap lay between; null: not known. */
  readonly cadenceMs: number | null;
  readonly pictures: PictureTrack;
  /** How long after closing the latest readings came, newest last. */
  readonly readingDelaysMs: readonly number[];
};

/** The sky by its readings, and what the watch makes of it. */
export type SkyKnowledge = {
  readonly surge: SurgeState;
  readonly surges: readonly SurgeSpan[];
  readonly stars: StarTrack;
  readonly pace: "full" | "sentinel";
  /** Frames that are still to vary the exposure for the tone curve. */
  readonly probesLeft: number;
  /** Since when nothing has happened in the sky. */
  readonly quietSinceMs: MonotonicMs | null;
};

/** The camera by what it reported. */
export type CameraKnowledge = {
  /** Since when the shutter may be open with nobody in control of it; null: it is not. */
  readonly looseSinceMs: MonotonicMs | null;
  readonly lateness: LatenessTrack;
  readonly batteryPercent: number | null;
  /** When the battery went down of late, oldest first. */
  readonly batteryFalls: readonly BatteryFall[];
  readonly freeBytes: number | null;
  readonly freeFrames: number | null;
  /** Clocks against each other, milliseconds; null: not compared. */
  readonly clocks: {
    readonly cameraLessOursMs: number | null;
    readonly oursLessGnssMs: number | null;
  };
  readonly statusAskedMs: MonotonicMs | null;
};
