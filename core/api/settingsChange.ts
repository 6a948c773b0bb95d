import * as v from "valibot";

import { NightError } from "../errors.ts";
import type { ExposureSettings } from "../exposure/settings.ts";

/**
 * A number within limits, whose refusal is a sentence in the trade's terms.
 * NaN and infinities are no numbers here; JSON cannot carry them anyway.
 */
function within(name: string, options: { min: number; max: number; unit: string }) {
  const { min, max, unit } = options;
  const sentence = `${name} must be a number from ${min} to ${max}${unit}.`;
  return v.pipe(
    v.number(sentence),
    v.finite(sentence),
    v.minValue(min, sentence),
    v.maxValue(max, sentence),
  );
}

/**
 * What of the settings may be changed while a watch runs, with the widest values that make sense.
 * The limits are common practice, no source: no lens opens beyond f/0.5, no camera in reach of a
 * photographer has an ISO beyond 819,200, and nobody exposes a curtain for an hour.
 */
export const settingsChangeSchema = v.strictObject(
  {
    targetStops: v.optional(within("Target brightness", { min: -6, max: 2, unit: " stops" })),
    fNumber: v.optional(within("The f-number", { min: 0.5, max: 32, unit: "" })),
    isoMin: v.optional(within("Lowest ISO", { min: 25, max: 819200, unit: "" })),
    isoMax: v.optional(within("The ISO cap", { min: 25, max: 819200, unit: "" })),
    exposureSecondsMin: v.optional(
      within("Shortest exposure", { min: 0.001, max: 3600, unit: " seconds" }),
    ),
    exposureSecondsMax: v.optional(
      within("Longest exposure", { min: 0.001, max: 3600, unit: " seconds" }),
    ),
    intervalSeconds: v.optional(
      within("The interval", { min: 0, max: 3600, unit: " seconds (0 is back to back)" }),
    ),
    focalLengthMm: v.optional(
      within("The focal length", { min: 1, max: 2000, unit: " millimetres" }),
    ),
    pixelPitchUm: v.optional(
      within("The pixel pitch", { min: 0.5, max: 50, unit: " micrometres" }),
    ),
    blurPx: v.optional(within("Smear tolerance", { min: 1, max: 2000, unit: " pixels" })),
    clippedShareMax: v.optional(
      within("Highlight protection", { min: 0, max: 1, unit: " of the sky" }),
    ),
    highlightHeadroomStops: v.optional(
      within("Highlight headroom", { min: 0, max: 3, unit: " stops" }),
    ),
    stopsPerMinuteMax: v.optional(
      v.nullable(within("Film smoothness", { min: 0.01, max: 60, unit: " stops a minute" })),
    ),
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
