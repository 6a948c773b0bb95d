import type { ErrorCode } from "../errors.ts";
import type { Exposure } from "../exposure/exposure.ts";
import type { ExposureSettings } from "../exposure/settings.ts";
import type { FrameObservation } from "../exposure/governor.ts";
import type { Reading } from "../photometry/reading.ts";
import type { MonotonicMs } from "../units.ts";
import type { Scheduling } from "../words/timingWords.ts";
import type { HandWord } from "./handWord.ts";
import type { EndedBy, GapSpan, SurgeSpan } from "./state.ts";
import type { WatchSettings } from "./watchSettings.ts";

/** How a shutter was closed that this computer times. */
export type ShutterClosing = {
  /** From when it was due until it was done, real milliseconds. */
  readonly lateMs: number;
  /** How the system schedules the thread or process that closes it. */
  readonly scheduling: Scheduling;
};

/**
 * Everything that can happen to a watch. `atMs` is when it happened on the night's clock; the
 * list of a night's events, fed through the reducer, gives every decision again.
 */
export type WatchEvent = { readonly atMs: MonotonicMs } & (
  | {
      /** The photographer, or a restart after a break, sets the watch going. */
      readonly kind: "started";
      readonly settings: WatchSettings;
      /** Exposure of the first frame, from the plan's sky; null: the governor's own guess. */
      readonly first: Exposure | null;
      /** Index of the first frame to take: above 0 after a break. */
      readonly nextFrameIndex: number;
      /** What the frames before a break said, oldest first. */
      readonly history: readonly FrameObservation[];
      /** Surges and gaps of the night before this watch; left out: there were none. */
      readonly earlier?: {
        readonly surges: readonly SurgeSpan[];
        readonly gaps: readonly GapSpan[];
      };
      /** What the photographer said before a break; left out: frames are wanted. */
      readonly hand?: HandWord;
      /** What had ended a watch that is over before a break; left out: the hand's word. */
      readonly endedBy?: EndedBy;
    }
  /** No frame until `untilMs`; left out: until asked to go on. */
  | { readonly kind: "paused"; readonly untilMs?: MonotonicMs | undefined }
  | { readonly kind: "resumed" }
  | {
      readonly kind: "stopped";
      /** The program ends, and with it the watch: no word on the night. Left out: a hand's word. */
      readonly isProgramEnding?: boolean;
    }
  | { readonly kind: "settingsChanged"; readonly exposure: Partial<ExposureSettings> }
  /** The time that a `wake` effect asked for has come. */
  | { readonly kind: "woke" }
  | {
      readonly kind: "cameraConnected";
      readonly isoLadder: readonly number[];
      /** ISO that stands on the camera and cannot be set from here; left out: it can be. */
      readonly fixedIso?: number | undefined;
      readonly fNumber: number | null;
      readonly program: "manual" | "other" | "unknown";
      /** What the photographer should know of how the camera is worked; left out: nothing. */
      readonly remarks?: readonly string[];
      readonly canTakeFrames: boolean;
      /** Camera clock less ours, milliseconds; left out: not readable. */
      readonly clockOffsetMs?: number | undefined;
      /** An earlier night has taught the meter this camera's tone curve. */
      readonly isToneCurveKnown: boolean;
      /** The camera answers, but its shutter may be open since then; left out: it is closed. */
      readonly looseSinceMs?: MonotonicMs | undefined;
    }
  | { readonly kind: "shutterOpened"; readonly frameIndex: number }
  | {
      readonly kind: "shutterClosed";
      readonly frameIndex: number;
      readonly happened: Exposure;
      /** Left out: the camera timed this frame itself. */
      readonly closing?: ShutterClosing;
    }
  | { readonly kind: "cameraReady" }
  | { readonly kind: "frameArrived"; readonly frameIndex: number }
  | { readonly kind: "frameMissing"; readonly frameIndex: number; readonly why: string }
  /** What the photographer should know of how the camera is worked from now on. */
  | { readonly kind: "cameraRemarked"; readonly sentence: string }
  | { readonly kind: "frameKept"; readonly frameIndex: number }
  /** The disk refused a file, or a row (then `frameIndex` is null). */
  | { readonly kind: "keepFailed"; readonly frameIndex: number | null; readonly sentence: string }
  | {
      readonly kind: "readingArrived";
      readonly frameIndex: number;
      readonly reading: Reading;
      /** ISO by the file, where the camera does not tell its own; left out: as it happened. */
      readonly isoInFile?: number;
    }
  | { readonly kind: "readingFailed"; readonly frameIndex: number; readonly sentence: string }
  | {
      readonly kind: "statusRead";
      readonly batteryPercent: number | null;
      readonly freeBytes: number | null;
      readonly freeFrames: number | null;
    }
  | { readonly kind: "lightSampled"; readonly value: number }
  /** What the climate sensor beside the camera says; humidity is relative, over water. */
  | {
      readonly kind: "climateRead";
      readonly temperatureC: number;
      readonly humidityPercent: number | null;
    }
  /** A GNSS receiver was heard: our clock less its, milliseconds. */
  | { readonly kind: "clockCompared"; readonly oursLessGnssMs: number }
  /** What may send this computer to sleep, and what to do about it; null: nothing, it is kept awake. */
  | { readonly kind: "sleepGuarded"; readonly lack: string | null }
  /** The night's place became known while it ran, and with it when it ends. */
  | { readonly kind: "placeFound"; readonly dawnMs: MonotonicMs | null }
  | {
      readonly kind: "cameraFailed";
      readonly code: ErrorCode;
      readonly sentence: string;
      readonly frameIndex: number | null;
      /** True when the link is lost and only `connectCamera` brings it back. */
      readonly gone: boolean;
      /** The shutter may be open since then, left so by an earlier process; left out: not known. */
      readonly looseSinceMs?: MonotonicMs | undefined;
    }
  | { readonly kind: "cameraClosed" }
);

/** Events that the phase answers: what the hand says, and what camera, shutter and timer do. */
const PHASE_EVENTS = {
  started: true,
  paused: true,
  resumed: true,
  stopped: true,
  woke: true,
  cameraConnected: true,
  cameraFailed: true,
  cameraReady: true,
  cameraClosed: true,
  shutterOpened: true,
  shutterClosed: true,
  lightSampled: true,
} as const satisfies Partial<Record<WatchEvent["kind"], true>>;

/** An event that each phase of the watch decides on its own. */
export type PhaseEvent = Extract<WatchEvent, { kind: keyof typeof PHASE_EVENTS }>;

/** An event that adds to the watch's knowledge alike in every phase. */
export type KnowledgeEvent = Exclude<WatchEvent, PhaseEvent>;

/** Whether an event only adds to what the watch knows, whatever the shutter is doing. */
export function isKnowledgeEvent(event: WatchEvent): event is KnowledgeEvent {
  return !Object.hasOwn(PHASE_EVENTS, event.kind);
}

/** Payload of the `started` event without its time, as the composition root builds it. */
export type StartOrder = Omit<Extract<WatchEvent, { kind: "started" }>, "atMs" | "kind">;
