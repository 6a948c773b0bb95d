import fc from "../../support/properties.ts";
import { expect, test } from "vitest";

import { settingsChange } from "../../../core/api/settingsChange.ts";
import { NightError } from "../../../core/errors.ts";
import { DEFAULT_EXPOSURE_SETTINGS } from "../../../core/exposure/settings.ts";

function sentenceOf(change: unknown): string {
  try {
    settingsChange(change, DEFAULT_EXPOSURE_SETTINGS);
  } catch (thrown) {
    expect(thrown).toBeInstanceOf(NightError);
    expect((thrown as NightError).code).toBe("settings.invalid");
    return (thrown as NightError).message;
  }
  return "accepted";
}

test("takes only what was named", () => {
  expect(settingsChange({ isoMax: 6400 }, DEFAULT_EXPOSURE_SETTINGS)).toEqual({ isoMax: 6400 });
  expect(settingsChange({}, DEFAULT_EXPOSURE_SETTINGS)).toEqual({});
});

test("takes null for film smoothness: as fast as the sky asks", () => {
  const change = settingsChange({ stopsPerMinuteMax: null }, DEFAULT_EXPOSURE_SETTINGS);
  expect(change).toEqual({ stopsPerMinuteMax: null });
});

test("takes the highlight headroom, in stops", () => {
  const change = settingsChange({ highlightHeadroomStops: 0.5 }, DEFAULT_EXPOSURE_SETTINGS);
  expect(change).toEqual({ highlightHeadroomStops: 0.5 });
  expect(sentenceOf({ highlightHeadroomStops: 9 })).toBe(
    "Highlight headroom must be a number from 0 to 3 stops.",
  );
});

test.each([
  [{ isoMax: 5 }, "The ISO cap must be a number from 25 to 819200."],
  [{ isoMax: "6400" }, "The ISO cap must be a number from 25 to 819200."],
  [{ targetStops: Number.NaN }, "Target brightness must be a number from -6 to 2 stops."],
  [{ exposureSecondsMax: -1 }, "Longest exposure must be a number from 0.001 to 3600 seconds."],
  [{ intervalSeconds: null }, /^The interval must be a number from 0 to 3600 seconds/],
  [{ isoMax: 50 }, "The ISO cap (50) cannot lie below the lowest ISO (100)."],
  [
    { exposureSecondsMin: 20 },
    "The longest exposure (15 s) cannot be shorter than the shortest (20 s).",
  ],
  [{ gain: 3 }, 'A watch has no setting called "gain".'],
  [[], "A change of settings is a JSON object."],
  [null, "A change of settings is a JSON object."],
  ["isoMax", "A change of settings is a JSON object."],
])("refuses %j in one sentence", (change, sentence) => {
  if (typeof sentence === "string") expect(sentenceOf(change)).toBe(sentence);
  else expect(sentenceOf(change)).toMatch(sentence);
});

test("answers any JSON with a change or one sentence, never with another error", () => {
  fc.assert(
    fc.property(fc.jsonValue(), (change) => {
      expect(sentenceOf(change)).toMatch(/^accepted$|\.$/);
    }),
  );
});
