import { describe, expect, it } from "vitest";

import { bandOf } from "../../../core/rehearsal/tonightResult.ts";
import { rehearseTonight } from "../../../core/rehearsal/tonight.ts";
import { tonightAurora } from "../../../core/rehearsal/tonightAurora.ts";
import { tonightClouds } from "../../../core/rehearsal/tonightClouds.ts";
import { createRandom } from "../../../core/random.ts";
import { kitWith, planWith } from "../../support/planFixtures.ts";

const PLAN = planWith();
const CLEAR = { activity: "moderate", cloudiness: "clear" } as const;
const QUIET = { ...CLEAR, activity: "quiet" } as const;

describe("a rehearsal of tonight", () => {
  it("gives the same answer for the same seed and another for another", () => {
    const run = (seed: number) =>
      rehearseTonight({ plan: PLAN, weather: CLEAR, seed, skyCount: 4 });
    expect(run(1)).toEqual(run(1));
    expect(run(2).frames).not.toEqual(run(1).frames);
  });

  it("tells its progress, one sky at a time", () => {
    const reported: number[] = [];
    rehearseTonight({
      plan: PLAN,
      weather: CLEAR,
      seed: 1,
      skyCount: 3,
      onProgress: (count) => reported.push(count),
    });
    expect(reported).toEqual([1, 2, 3]);
  });

  it("takes more frames at lower ISO in a storm than on a quiet night", () => {
    const run = (activity: "quiet" | "storm") =>
      rehearseTonight({ plan: PLAN, weather: { ...CLEAR, activity }, seed: 3, skyCount: 12 });
    const [quiet, storm] = [run("quiet"), run("storm")];
    expect(storm.frames.p50).toBeGreaterThan(quiet.frames.p50 * 1.3);
    const meanStop = ({ isoShares }: typeof quiet) =>
      isoShares.reduce((sum, { iso, share }) => sum + share * Math.log2(iso / 100), 0);
    expect(meanStop(storm)).toBeLessThan(meanStop(quiet) - 0.5);
    const shares = quiet.isoShares.reduce((sum, { share }) => sum + share, 0);
    expect(Math.abs(shares - 1)).toBeLessThan(0.02);
    expect(quiet.wellExposedShare.p50).toBeGreaterThan(0.9);
  });

  it("expects few good frames of a slow lens at ISO 400 under a dark sky", () => {
    const plan = planWith({ kit: kitWith({ fNumberWidest: 5.6, isoComfortMax: 400 }) });
    const result = rehearseTonight({ plan, weather: QUIET, seed: 1, skyCount: 6 });
    expect(result.wellExposedShare.p50).toBeLessThan(0.2);
    expect(result.slices.some(({ errorStops }) => errorStops.p50 < -2)).toBe(true);
  });

  it("fills a small card before dawn and says so", () => {
    const plan = planWith({ kit: kitWith({ cardBytes: 16e9 }) });
    const result = rehearseTonight({ plan, weather: QUIET, seed: 1, skyCount: 4 });
    expect(result.cardFullShare).toBe(1);
    expect(result.cardFreeGigabytesAtDawn.p50).toBe(0);
    expect(result.sentence).toMatch(/card fills before dawn in 100 % of the skies/);
  });

  it("keeps the batteries' books: what the last one holds at dawn", () => {
    const result = rehearseTonight({ plan: PLAN, weather: QUIET, seed: 1, skyCount: 1 });
    const used = PLAN.watch!.hours / PLAN.budget.batteryHours;
    expect(result.batteries).toBe(Math.ceil(used));
    expect(result.batteryPercentAtDawn).toBe(Math.round((Math.ceil(used) - used) * 100));
  });

  it("has gaps of the camera's busy time at least", () => {
    const plan = planWith({ kit: kitWith({ busySeconds: 4 }) });
    const result = rehearseTonight({ plan, weather: QUIET, seed: 1, skyCount: 2 });
    expect(result.longestGapSeconds.p50).toBeGreaterThanOrEqual(3.999);
  });

  it("has no frame under cloud on clear nights, and says nothing of clouds", () => {
    const result = rehearseTonight({ plan: PLAN, weather: QUIET, seed: 1, skyCount: 4 });
    expect(result.cloudedShare).toEqual({ p10: 0, p50: 0, p90: 0 });
    expect(result.sentence).not.toMatch(/[Cc]loud/);
  });

  it("loses every sixth frame or so to some clouds, and a third to changing ones", () => {
    const run = (cloudiness: "some" | "changing") =>
      rehearseTonight({ plan: PLAN, weather: { ...QUIET, cloudiness }, seed: 5, skyCount: 60 });
    const [some, changing] = [run("some"), run("changing")];
    expect(some.cloudedShare.p50).toBeGreaterThan(0.03);
    expect(some.cloudedShare.p50).toBeLessThan(0.3);
    expect(changing.cloudedShare.p50).toBeGreaterThan(some.cloudedShare.p50);
    expect(changing.cloudedShare.p10).toBeLessThan(0.05);
    expect(changing.cloudedShare.p90).toBeGreaterThan(0.8);
    expect(changing.cloudedOutShare).toBeGreaterThan(0.03);
    expect(changing.sentence).toMatch(/Clouds take \d+ % of the frames .* clouded over throughout/);
    expect(changing.clearAndWellShare.p50).toBeLessThanOrEqual(
      1 - changing.cloudedShare.p50 + 0.01,
    );
    expect(changing.slices.every(({ cloudedShare }) => cloudedShare > 0.1)).toBe(true);
  });

  it("is refused for a midsummer night in one sentence", () => {
    const plan = planWith({ dateIso: "2026-06-21" });
    expect(() => rehearseTonight({ plan, weather: QUIET, seed: 1 })).toThrow(
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

describe("tonight's clouds", () => {
  const cloudsOf = (seed: string) =>
    tonightClouds({
      cloudiness: "changing",
      plan: PLAN,
      durationSeconds: 36_000,
      random: createRandom(seed),
    });

  it("are the same for the same random stream and others for another", () => {
    expect(cloudsOf("a")(9000)).toEqual(cloudsOf("a")(9000));
    expect(cloudsOf("b")(9000)).not.toEqual(cloudsOf("a")(9000));
  });

  it("pass no more than all light, and most where they are thinnest", () => {
    for (let at = 0; at <= 36_000; at += 900) {
      const { passedMean, passedMost, meanFactor } = cloudsOf("c")(at);
      expect(passedMean).toBeGreaterThanOrEqual(0);
      expect(passedMost).toBeGreaterThanOrEqual(passedMean);
      expect(passedMost).toBeLessThanOrEqual(1);
      // A cloud over an even sky dims it by its own losses only, never to black.
      expect(meanFactor).toBeGreaterThan(0.6);
      expect(meanFactor).toBeLessThan(1.2);
    }
  });

  it("move on: within ten minutes a half-covered frame is another one", () => {
    const clouds = cloudsOf("d");
    const changes = Array.from({ length: 60 }, (_, index) =>
      Math.abs(clouds(index * 600).passedMean - clouds(index * 600 + 300).passedMean),
    );
    expect(Math.max(...changes)).toBeGreaterThan(0.1);
  });
});

describe("percentiles", () => {
  it("are nearest ranks", () => {
    expect(bandOf([5, 1, 4, 2, 3, 6, 7, 8, 9, 10])).toEqual({ p10: 1, p50: 5, p90: 9 });
    expect(bandOf([])).toEqual({ p10: 0, p50: 0, p90: 0 });
  });
});
