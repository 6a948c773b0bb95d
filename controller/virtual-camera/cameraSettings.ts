import { EXPOSURE_INDICES, EXPOSURE_TIMES, F_NUMBERS } from "./ladders.ts";

/** How the virtual camera behaves: what it is fitted with, and which faults it is to have. */
export type CameraSettings = {
  /** Size of the card, bytes. */
  readonly cardBytes: number;
  /** Charge at the start, 0..100. */
  readonly batteryPercent: number;
  /** How long a full battery lasts while one frame follows the other, night hours. */
  readonly batteryHours: number;
  /** Time after the shutter closes during which no new frame can begin, night seconds. */
  readonly busySeconds: number;
  /** How long the shutter takes to close once an open capture is ended, night seconds. */
  readonly closeLagSeconds: number;
  /** Whether an open capture (bulb) is offered. */
  readonly hasBulb: boolean;
  /** After this long an open shutter closes by itself, night seconds. */
  readonly bulbLimitSeconds: number;
  /** A shutter left open by a lost connection closes by itself after this long, night seconds. */
  readonly orphanSeconds: number;
  /** The camera's clock minus the true time at the start, seconds. */
  readonly clockDriftSeconds: number;
  /** How much the camera's clock gains a day, seconds. */
  readonly clockGainSecondsPerDay: number;
  /** The zone that the camera's clock is set to, minutes east of UTC. */
  readonly utcOffsetMinutes: number;
  readonly programMode: "manual" | "automatic" | "aperturePriority" | "shutterPriority";
  readonly focusMode: "manual" | "automatic";
  /** What can be set, raw as on the wire, rising. */
  readonly exposureTimes: readonly number[];
  readonly exposureIndices: readonly number[];
  readonly fNumbers: readonly number[];
  /** Lens, for Exif and the FocalLength property. */
  readonly focalLengthMm: number;
  readonly faults: CameraFaults;
};

/** Seeded faults; frame numbers count from 0, null: never. */
export type CameraFaults = {
  /** Chance that a capture, or the setting of a property, is answered "busy" for no reason. */
  readonly busyProbability: number;
  /** Both connections break while this frame is being exposed. */
  readonly dropLinkAtFrame: number | null;
  /** This frame does not fit on the card any more. */
  readonly cardFullAtFrame: number | null;
  /** The event that announces this frame is never sent. */
  readonly loseObjectAddedAtFrame: number | null;
  /** The file of this frame is damaged. */
  readonly corruptJpegAtFrame: number | null;
};

/** A well-behaved camera. */
export const DEFAULT_CAMERA_SETTINGS: CameraSettings = {
  cardBytes: 32_000_000_000,
  batteryPercent: 100,
  batteryHours: 20,
  busySeconds: 1,
  closeLagSeconds: 0,
  hasBulb: true,
  bulbLimitSeconds: 1800,
  orphanSeconds: 5,
  clockDriftSeconds: 0,
  clockGainSecondsPerDay: 0,
  utcOffsetMinutes: 120,
  programMode: "manual",
  focusMode: "manual",
  exposureTimes: EXPOSURE_TIMES,
  exposureIndices: EXPOSURE_INDICES,
  fNumbers: F_NUMBERS,
  focalLengthMm: 16,
  faults: {
    busyProbability: 0,
    dropLinkAtFrame: null,
    cardFullAtFrame: null,
    loseObjectAddedAtFrame: null,
    corruptJpegAtFrame: null,
  },
};
