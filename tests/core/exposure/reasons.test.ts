import { describe, expect, it } from "vitest";
import { reasonsFor, type DecisionFacts } from "../../../core/exposure/reasons.ts";

const steady: DecisionFacts = {
  start: "governed",
  changeStops: 0.01,
  changeSeconds: 60,
  aheadStops: 0,
  aheadDoubtStops: 0.02,
  mood: "still",
  limit: "none",
  exposureSeconds: 8,
  iso: 1600,
  heldIso: 1600,
  curtainSeconds: Infinity,
  isCurtainScaleGuessed: false,
  loweredStops: 0,
  slowedStops: 0,
  secondsWithoutReading: 15,
  light: { kind: "ignored", why: "no samples" },
};

describe("the reasons for an exposure", () => {
  it("of a steady sky are one", () => {
    expect(reasonsFor(steady)).toEqual(["sky steady"]);
  });

  it.each<[string, Partial<DecisionFacts>, string]>([
    ["a rise of 1.3 stops", { changeStops: 1.3 }, "sky 1.3 stops brighter than a minute ago"],
    [
      "a fall of one stop in 20 s",
      { changeStops: -1, changeSeconds: 20 },
      "sky 1.0 stop darker than 20 s ago",
    ],
    [
      "a trend that stands clear of its doubt",
      { mood: "trending", aheadStops: 0.2 },
      "expected to brighten by 0.2 stops until this frame",
    ],
    ["pulsation", { mood: "pulsing" }, "sky pulsates: exposed for its mean"],
    [
      "fast curtains",
      { limit: "curtains", curtainSeconds: 4 },
      "kept under 4.0 s for the curtains",
    ],
    [
      "fast curtains at the ISO cap",
      { limit: "isoCap", curtainSeconds: 4 },
      "ISO at its cap: brightness before the curtains' 4.0 s",
    ],
    [
      "a sky too dark",
      { limit: "longest" },
      "longest exposure and ISO at its cap: darker than wanted",
    ],
    ["highlights", { loweredStops: 0.5 }, "0.5 stops under the target for the highlights"],
    ["a smooth film", { slowedStops: -0.3 }, "slowed by 0.3 stops for a smooth film"],
    ["another ISO", { iso: 3200 }, "ISO raised from 1600 to 3200"],
    [
      "a minute and a half without a reading",
      { secondsWithoutReading: 90 },
      "no reading for 90 s, going by the forecast",
    ],
    [
      "33 minutes without a reading",
      { secondsWithoutReading: 1980 },
      "no reading for 33 min, going by the forecast",
    ],
    [
      "a light meter that jams",
      { light: { kind: "ignored", why: "jammed" } },
      "light meter ignored: its value stands still",
    ],
    ["a light meter that is sure", { light: { kind: "followed" } }, "light meter followed"],
  ])("name %s", (_name, facts, reason) => {
    expect(reasonsFor({ ...steady, ...facts })).toContain(reason);
  });

  it("before the first reading tell an asked exposure from a guess, and nothing of the sky", () => {
    expect(reasonsFor({ ...steady, start: "asked" })).toEqual([
      "no reading yet: the exposure to begin with",
    ]);
    expect(reasonsFor({ ...steady, start: "guessed" })).toEqual([
      "no reading yet: a guess for a dark sky",
    ]);
  });

  it("do not call it foresight when the forecast is not sure of it", () => {
    const unsure = { ...steady, mood: "wild", aheadStops: 0.2, aheadDoubtStops: 0.4 } as const;
    expect(reasonsFor(unsure)).toEqual(["sky restless: exposed between its swings"]);
  });
});
