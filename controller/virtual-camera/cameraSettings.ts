import { exposureTime } from "../../core/ptp/properties.ts";

/** Denominators of the speeds below 0.3 s, then the longer ones, in the usual third stops. */
const SPEEDS = [
  3200, 2500, 2000, 1600, 1250, 1000, 800, 640, 500, 400, 320, 250, 200, 160, 125, 100, 80, 60, 50,
  40, 30, 25, 20, 15, 13, 10, 8, 6, 5, 4,
];
const LONG_SECONDS = [
  0.3, 0.4, 0.5, 0.6, 0.8, 1, 1.3, 1.6, 2, 2.5, 3.2, 4, 5, 6, 8, 10, 13, 15, 20, 25, 30,
];
/**
 * Raw exposure times, units of 0.1 ms. 1/4000 s is 2.5 of them; rounded up it would be 1/3200 s
 * once more, so this camera says 2.
 */
const EXPOSURE_TIMES: readonly number[] = [
  2,
  ...SPEEDS.map((speed) => exposureTime.encode(1 / speed)),
  ...LONG_SECONDS.map((seconds) => exposureTime.encode(seconds)),
];

/** ISO in third stops. */
const EXPOSURE_INDICES: readonly number[] = [
  100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000,
  6400, 8000, 10000, 12800,
];

/** f-numbers × 100 in third stops, as an f/1.8 lens has them. */
const F_NUMBERS: readonly number[] = [
  180, 200, 220, 250, 280, 320, 350, 400, 450, 500, 560, 630, 710, 800, 900, 1000, 1100, 1300, 1400,
  1600, 1800, 2000, 2200,
];

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
