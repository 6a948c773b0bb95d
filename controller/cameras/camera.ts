import type { Exposure } from "../../core/exposure/exposure.ts";
import type { ErrorCode } from "../../core/errors.ts";
import type { TonePoint } from "../../core/profiles/cameraControls.ts";
import type { ShutterClosing } from "../../core/watch/events.ts";
import type { MonotonicMs } from "../../core/units.ts";

/** What a connected camera is and can do, as it says itself; shown to the photographer. */
export type CameraDescription = {
  readonly cameraId: string;
  /** The strings that the device reports. */
  readonly label: string;
  readonly serialNumber: string;
  readonly profileId: string;
  /** ISO values that can be set, ascending; empty: cannot be set, the photographer sets it by hand. */
  readonly isoLadder: readonly number[];
  /** ISO that stands on the camera and cannot be set from here; left out: it can be, or is not known. */
  readonly fixedIso?: number | undefined;
  /** f-numbers that can be set, ascending; empty: fixed or by hand. */
  readonly fNumberLadder: readonly number[];
  /** Timed exposures that can be set, seconds, ascending; empty: bulb only. */
  readonly exposureLadderSeconds: readonly number[];
  readonly hasBulb: boolean;
  readonly iso: number | null;
  readonly fNumber: number | null;
  /** "manual" | "other" | "unknown": the photographer hears of anything but manual before the night. */
  readonly program: "manual" | "other" | "unknown";
  /** What the photographer should know of how it is worked; left out: nothing. */
  readonly remarks?: readonly string[];
  readonly focus: "manual" | "automatic" | "unknown";
  /** Camera clock minus ours, night milliseconds; null: not readable. */
  readonly clockOffsetMs: number | null;
  /** The same before the clock was set, as it is only when asked; left out: it was not set. */
  readonly clockWasOffMs?: number;
  /**
   * Since when the shutter may be open with nobody in control of it, as an earlier process or
   * connection left it; left out: it is closed, as far as can be found out.
   */
  readonly looseSinceMs?: MonotonicMs | undefined;
  /** How it renders light, by its profile; left out: not known. */
  readonly toneCurve?: readonly TonePoint[] | undefined;
  /** More that the checklist and the kit ask about; left out: nothing of it is known. */
  readonly facts?: CameraSettingFacts;
};

/** What a camera says of its menus and its lens, where its profile knows how. */
type CameraSettingFacts = {
  readonly noiseReduction: "off" | "on" | "unknown";
  readonly imageFormat: "raw" | "rawAndJpeg" | "jpeg" | "unknown";
  readonly focalLengthMm: number | null;
  /** Of the largest image that it is set to; left out: it does not tell. */
  readonly imageWidthPx?: number | undefined;
};

/** One frame to take. */
export type ExposureOrder = {
  readonly frameIndex: number;
  readonly exposure: Exposure;
  /** Earliest opening of the shutter on the night's clock. */
  readonly openAtMs: MonotonicMs;
};

/** What a camera says; `atMs` is night time, stamped in the timing thread. */
export type CameraEvent =
  | { readonly kind: "connected"; readonly description: CameraDescription }
  | { readonly kind: "shutterOpened"; readonly frameIndex: number; readonly atMs: MonotonicMs }
  | {
      readonly kind: "shutterClosed";
      readonly frameIndex: number;
      readonly atMs: MonotonicMs;
      /** What the exposure really was, as far as the host can tell. */
      readonly happened: Exposure;
      /** False: the camera does not tell its ISO, and the one in `happened` is only what was ordered. */
      readonly isIsoReported?: false;
      /** Left out: the camera timed this frame itself. */
      readonly closing?: ShutterClosing;
    }
  /** The next frame may begin. */
  | { readonly kind: "ready"; readonly atMs: MonotonicMs }
  | {
      readonly kind: "frameArrived";
      readonly frameIndex: number;
      readonly atMs: MonotonicMs;
      readonly cameraName: string;
      readonly cameraHandle: number;
      readonly captureDate: string;
      /** The JPEG to keep and to meter: the file itself, or the largest preview there is. */
      readonly jpeg: Uint8Array;
      /** False when `jpeg` is a preview and the original stays on the card. */
      readonly isOriginal: boolean;
      /** False: only the order of exposure says that it is this frame's; left out: proved. */
      readonly isProved?: boolean;
    }
  | { readonly kind: "frameMissing"; readonly frameIndex: number; readonly why: string }
  /** What the photographer should know of how the camera is worked from now on. */
  | { readonly kind: "remarked"; readonly sentence: string }
  | {
      readonly kind: "status";
      readonly atMs: MonotonicMs;
      /** 0..100; null: not readable. */
      readonly batteryPercent: number | null;
      readonly freeBytes: number | null;
      readonly freeFrames: number | null;
    }
  /** The order for this frame, or the link itself, failed; `gone`: reconnect with `connect`. */
  | {
      readonly kind: "failed";
      readonly code: ErrorCode;
      readonly sentence: string;
      readonly frameIndex: number | null;
      readonly gone: boolean;
      /** As in `CameraDescription`. */
      readonly looseSinceMs?: MonotonicMs | undefined;
    };

/** A file on the camera's card, for reconciling the card with the catalogue. */
export type CardFile = {
  readonly cameraHandle: number;
  readonly cameraName: string;
  readonly bytes: number;
  readonly captureDate: string;
};

/** A stretch of a file on the card, with what the camera says of the whole. */
export type FilePiece = {
  readonly bytes: Uint8Array;
  readonly totalBytes: number;
  readonly cameraName: string;
};

/**
 * A camera as the night sees it, whatever it is made of. Calls only ask; everything that happens
 * is reported through `onEvent`, so that a slow camera never holds the night.
 */
export type Camera = {
  readonly cameraId: string;
  onEvent(listener: (event: CameraEvent) => void): void;
  /** Connects, or connects again after `gone`; answers `connected` or `failed`. */
  connect(): void;
  /** Takes one frame; answers `shutterOpened`, `shutterClosed`, `ready`, `frameArrived`, or `failed`. */
  expose(order: ExposureOrder): void;
  /** Closes the shutter of this frame now, if it is open. */
  closeShutter(frameIndex: number): void;
  /** Asks for battery and card between frames; answers `status`. */
  readStatus(): void;
  /** Files on the card, for reconciling after a break. */
  listCard(): Promise<readonly CardFile[]>;
  /** A whole file from the card, in pieces that never delay the shutter. */
  fetchFile(cameraHandle: number): Promise<Uint8Array>;
  /** A stretch of a file, shorter at its end; left out where files come only whole. */
  fetchPiece?(
    cameraHandle: number,
    range: { readonly offset: number; readonly bytes: number },
  ): Promise<FilePiece>;
  /**
   * Sets what an exposure asks for without taking it, for a shutter that is released by other means;
   * left out where nothing can be set. @returns what is set then.
   */
  prepare?(exposure: Exposure): Promise<Exposure>;
  /** The shutter was opened or closed by other means: this frame's file is to come. */
  noteReleased?(frameIndex: number, what: "opened" | "closed"): void;
  /** The picture that came for this frame is another's: its own is to come yet; left out: it is not waited for. */
  awaitAgain?(frameIndex: number): void;
  /** Opens the contact, ends the session in order, ends the thread. Safe to call twice. */
  close(): Promise<void>;
};
