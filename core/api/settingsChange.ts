import * as v from "valibot";

import { NightError } from "../errors.ts";
import { SETTING_LIMITS, type LimitedSetting } from "../exposure/settingLimits.ts";
import type { ExposureSettings } from "../exposure/settings.ts";

/**
 * A number within a setting's limits, whose refusal is a sentence in the trade's terms.
 * NaN and infinities are no numbers here; JSON cannot carry them anyway.
 */
function within(setting: LimitedSetting) {
  const { name, min, max, unit } = SETTING_LIMITS[setting];
  const sentence = `${`${name} must be a number from ${min} to ${max} ${unit}`.trim()}.`;
  return v.pipe(
    v.number(sentence),
    v.finite(sentence),
    v.minValue(min, sentence),
    v.maxValue(max, sentence),
  );
}

/** What of the settings may be changed while a watch runs. */
export const settingsChangeSchema = v.strictObject(
  {
    targetStops: v.optional(within("targetStops")),
    fNumber: v.optional(within("fNumber")),
    isoMin: v.optional(within("isoMin")),
    isoMax: v.optional(within("isoMax")),
    exposureSecondsMin: v.optional(within("exposureSecondsMin")),
    exposureSecondsMax: v.optional(within("exposureSecondsMax")),
    intervalSeconds: v.optional(within("intervalSeconds")),
    focalLengthMm: v.optional(within("focalLengthMm")),
    sensorWidthMm: v.optional(within("sensorWidthMm")),
    pixelPitchUm: v.optional(within("pixelPitchUm")),
    blurPx: v.optional(within("blurPx")),
    clippedShareMax: v.optional(within("clippedShareMax")),
    highlightHeadroomStops: v.optional(within("highlightHeadroomStops")),
    stopsPerMinuteMax: v.optional(v.nullable(within("stopsPerMinuteMax"))),
  },
  (issue) => `A watch has no setting called ${issue.received}.`,
);

/**
 * Checks what came in from outside as a change of settings.
 *
 * @param unknown  Anything, as JSON gave it.
 * @param current  What the watch runs with now; the change must fit to it.
 * @returns Only the settings that were named.
 * @throws NightError `settings.invalid` with one clear sentence.
 */
export function settingsChange(
  unknown: unknown,
  current: ExposureSettings,
): Partial<ExposureSettings> {
  if (typeof unknown !== "object" || unknown === null || Array.isArray(unknown)) {
    throw new NightError("settings.invalid", "A change of settings is a JSON object.");
  }
  const parsed = v.safeParse(settingsChangeSchema, unknown);
  if (!parsed.success) {
    const { message } = parsed.issues[0];
    throw new NightError("settings.invalid", message, { path: v.getDotPath(parsed.issues[0]) });
  }
  const change = withoutUndefined(parsed.output);
  const next = { ...current, ...change };
  if (next.isoMin > next.isoMax) {
    throw new NightError(
      "settings.invalid",
      `The ISO cap (${next.isoMax}) cannot lie below the lowest ISO (${next.isoMin}).`,
    );
  }
  if (next.exposureSecondsMin > next.exposureSecondsMax) {
    throw new NightError(
      "settings.invalid",
      `The longest exposure (${next.exposureSecondsMax} s) cannot be shorter than the shortest (${next.exposureSecondsMin} s).`,
    );
  }
  return change;
}

function withoutUndefined(change: v.InferOutput<typeof settingsChangeSchema>) {
  return Object.fromEntries(
    Object.entries(change).filter(([, value]) => value !== undefined),
  ) as Partial<ExposureSettings>;
}
