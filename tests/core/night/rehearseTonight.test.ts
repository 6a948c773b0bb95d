import { describe, expect, it } from "vitest";

import { bandOf, rehearseTonight } from "../../../core/night/rehearseTonight.ts";
import { tonightAurora } from "../../../core/night/tonightSky.ts";
import { createRandom } from "../../../core/random.ts";
import { kitWith, planWith } from "../../support/planFixtures.ts";

const PLAN = planWith();

describe("a rehearsal of tonight", () => {
  it("gives the same answer for the same seed and another for another", () => {
    const run = (seed: number) =>
      rehearseTonight({ plan: PLAN, activity: "moderate", seed, skyCount: 4 });
    expect(run(1)).toEqual(run(1));
    expect(run(2).frames).not.toEqual(run(1).frames);
  });

  it("tells its progress, one sky at a time", () => {
    const told: number[] = [];
    rehearseTonight({
      plan: PLAN,
      activity: "quiet",
      seed: 1,
      skyCount: 3,
      onProgress: (count) => told.push(count),
    });
    expect(told).toEqual([1, 2, 3]);
  });

  it("takes more frames at lower ISO in a storm than on a quiet night", () => {
    const run = (activity: "quiet" | "storm") =>
      rehearseTonight({ plan: PLAN, activity, seed: 3, skyCount: 12 });
    const [quiet, storm] = [run("quiet"), run("storm")];
    expect(storm.frames.p50).toBeGreaterThan(quiet.frames.p50 * 1.3);
    const meanStop = ({ isoShares }: typeof quiet) =>
      isoShares.reduce((sum, { iso, share }) => sum + share * Math.log2(iso / 100), 0);
    expect(meanStop(storm)).toBeLessThan(meanStop(quiet) - 0.5);
    expect(quiet.isoShares.reduce((sum, { share }) => sum + share, 0)).toBeCloseTo(1, 9);
    expect(quiet.wellExposedShare.p50).toBeGreaterThan(0.9);
  });

  it("expects few good frames of a slow lens at ISO 400 under a dark sky", () => {
    const plan = planWith({ kit: kitWith({ fNumberWidest: 5.6, isoComfortMax: 400 }) });
    const result = rehearseTonight({ plan, activity: "quiet", seed: 1, skyCount: 6 });
    expect(result.wellExposedShare.p50).toBeLessThan(0.2);
    expect(result.slices.some(({ errorStops }) => errorStops.p50 < -2)).toBe(true);
  });

  it("fills a small card before dawn and says so", () => {
    const plan = planWith({ kit: kitWith({ cardBytes: 16e9 }) });
    const result = rehearseTonight({ plan, activity: "quiet", seed: 1, skyCount: 4 });
    expect(result.cardFullShare).toBe(1);
    expect(result.cardFreeGigabytesAtDawn.p50).toBe(0);
    expect(result.sentence).toMatch(/card fills before dawn in 100 % of the skies/);
  });

  it("keeps the batteries' books: what the last one holds at dawn", () => {
    const result = rehearseTonight({ plan: PLAN, activity: "quiet", seed: 1, skyCount: 1 });
    const used = PLAN.watch!.hours / PLAN.budget.batteryHours;
    expect(result.batteries).toBe(Math.ceil(used));
    expect(result.batteryPercentAtDawn).toBe(Math.round((Math.ceil(used) - used) * 100));
  });

  it("has gaps of the camera's busy time at least", () => {
    const plan = planWith({ kit: kitWith({ busySeconds: 4 }) });
    const result = rehearseTonight({ plan, activity: "quiet", seed: 1, skyCount: 2 });
    expect(result.longestGapSeconds.p50).toBeGreaterThanOrEqual(3.999);
  });

  it("is refused for a midsummer night in one sentence", () => {
    const plan = planWith({ dateIso: "2026-06-21" });
    expect(() => rehearseTonight({ plan, activity: "quiet", seed: 1 })).toThrow(
      /no watch to rehearse/,
    );
  });

  it("sees no aurora from where the oval never stands above the horizon", () => {
    const aurora = tonightAurora({
      activity: "storm",
      standing: "belowHorizon",
      durationSeconds: 3600,
      random: createRandom(1),
    });
    expect(aurora(1800).meanKr).toBe(0);
  });
});

describe("percentiles", () => {
  it("are nearest ranks", () => {
    expect(bandOf([5, 1, 4, 2, 3, 6, 7, 8, 9, 10])).toEqual({ p10: 1, p50: 5, p90: 9 });
    expect(bandOf([])).toEqual({ p10: 0, p50: 0, p90: 0 });
  });
});
