import { DEFAULT_EXPOSURE_SETTINGS } from "./settings.ts";

/** What a number that a photographer sets may be. */
type SettingLimit = {
  /** The setting as a sentence begins with it. */
  readonly name: string;
  readonly min: number;
  readonly max: number;
  /** The unit in words, as it follows the number; empty: it has none. */
  readonly unit: string;
};

/**
 * The widest values that make sense, the same wherever a setting comes in: by a command, from the
 * page, with a kit. Common practice, no source: no lens opens beyond f/0.5, no camera in reach of a
 * photographer has an ISO beyond 819,200, and nobody exposes a curtain for an hour.
 */
export const SETTING_LIMITS = {
  targetStops: { name: "Target brightness", min: -6, max: 2, unit: "stops" },
  fNumber: { name: "The f-number", min: 0.5, max: 32, unit: "" },
  isoMin: { name: "Lowest ISO", min: 25, max: 819_200, unit: "" },
  isoMax: { name: "The ISO cap", min: 25, max: 819_200, unit: "" },
  exposureSecondsMin: { name: "Shortest exposure", min: 0.001, max: 3600, unit: "seconds" },
  exposureSecondsMax: { name: "Longest exposure", min: 0.001, max: 3600, unit: "seconds" },
  intervalSeconds: {
    name: "The interval",
    min: 0,
    max: 3600,
    unit: "seconds (0 is back to back)",
  },
  busySeconds: { name: "The camera's busy time", min: 0, max: 120, unit: "seconds" },
  focalLengthMm: { name: "The focal length", min: 1, max: 2000, unit: "mm" },
  sensorWidthMm: { name: "The sensor's width", min: 4, max: 70, unit: "mm" },
  pixelPitchUm: { name: "The pixel pitch", min: 0.5, max: 50, unit: "micrometres" },
  blurPx: { name: "Smear tolerance", min: 1, max: 2000, unit: "pixels" },
  clippedShareMax: { name: "Highlight protection", min: 0, max: 1, unit: "of the sky" },
  highlightHeadroomStops: { name: "Highlight headroom", min: 0, max: 3, unit: "stops" },
  stopsPerMinuteMax: { name: "Film smoothness", min: 0.01, max: 60, unit: "stops a minute" },
} as const satisfies Readonly<Record<string, SettingLimit>>;

export type LimitedSetting = keyof typeof SETTING_LIMITS;

/** The range of a setting, as a command's option takes it. */
export function rangeOf(setting: LimitedSetting): { readonly min: number; readonly max: number } {
  const { min, max } = SETTING_LIMITS[setting];
  return { min, max };
}

/** The range with what a setting is when nobody sets it. */
export function rangeAndDefaultOf(
  setting: Exclude<LimitedSetting, "stopsPerMinuteMax" | "sensorWidthMm" | "pixelPitchUm">,
): {
  readonly min: number;
  readonly max: number;
  readonly default: number;
} {
  return { ...rangeOf(setting), default: DEFAULT_EXPOSURE_SETTINGS[setting] };
}
