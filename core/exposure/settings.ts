/** What the photographer steers the governor with; a change takes effect at the next frame. */
export type ExposureSettings = {
  /** Wanted mid-sky brightness, stops from mid-grey; a night usually sits at −2. */
  readonly targetStops: number;
  readonly fNumber: number;
  readonly isoMin: number;
  /** The photographer's cap: above this the noise is not worth it. */
  readonly isoMax: number;
  /** ISO values the camera can set, ascending; empty: third stops between the two limits. */
  readonly isoLadder: readonly number[];
  readonly exposureSecondsMin: number;
  /** Longest exposure, the star-trail limit included. */
  readonly exposureSecondsMax: number;
  /** Start to start; 0: back to back. */
  readonly intervalSeconds: number;
  /** What the camera needs between two frames; an exposure never eats into it. */
  readonly busySeconds: number;
  /** The lens's own, not its full-frame equivalent. */
  readonly focalLengthMm: number;
  /** As the kit says; null: to be learned from the camera or its pictures. */
  readonly sensorWidthMm: number | null;
  /** As the kit says; null: to be learned from the camera or its pictures. */
  readonly pixelPitchUm: number | null;
  /** Tolerated smear of moving curtains, pixels of the full-size frame. */
  readonly blurPx: number;
  /** Share of the sky that may clip, 0..1; the highlights are protected beyond it. 1: never. */
  readonly clippedShareMax: number;
  /** How far under the ceiling the brightest parts are kept while they are protected, stops. */
  readonly highlightHeadroomStops: number;
  /** Largest change of the recorded brightness for a smooth film; null: as fast as the sky asks. */
  readonly stopsPerMinuteMax: number | null;
};

/** The defaults of the rehearsal command: a wide lens on a full frame, whose sky is given, not photographed. */
export const DEFAULT_EXPOSURE_SETTINGS: ExposureSettings = {
  targetStops: -2,
  fNumber: 2.8,
  isoMin: 100,
  isoMax: 12800,
  isoLadder: [],
  exposureSecondsMin: 0.5,
  exposureSecondsMax: 15,
  intervalSeconds: 0,
  busySeconds: 1,
  focalLengthMm: 16,
  sensorWidthMm: null,
  pixelPitchUm: null,
  blurPx: 24,
  clippedShareMax: 0.002,
  highlightHeadroomStops: 0.1,
  stopsPerMinuteMax: null,
};
