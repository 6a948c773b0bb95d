import { describe, expect, it } from "vitest";
import {
  auroraCourse,
  auroraMoment,
  foldKmPerSecond,
  type SkyScenario,
} from "../../../core/simulation/auroraCourse.ts";

const NIGHT_SECONDS = 10 * 3600;
const SCENARIOS: readonly SkyScenario[] = [
  "demo",
  "quiet",
  "breakup",
  "double",
  "pulsating",
  "storm",
  "cloudy",
];

describe("the course of a night", () => {
  it("is the same for the same seed and another for another", () => {
    const a = auroraCourse("demo", 3600, "seed");
    expect(auroraCourse("demo", 3600, "seed")).toEqual(a);
    expect(auroraCourse("demo", 3600, "other").quietKr).not.toEqual(a.quietKr);
  });

  it.each(SCENARIOS)("of %s has nothing below zero and nothing that is no number", (scenario) => {
    const course = auroraCourse(scenario, NIGHT_SECONDS, "seed");
    for (const [name, column] of Object.entries(course)) {
      if (typeof column === "number" || name === "centreKm") continue;
      expect(column.every((value) => Number.isFinite(value) && value >= 0)).toBe(true);
    }
  });

  it("breaks up by at least three stops within a minute of its onset (30 to 60 s, from memory)", () => {
    const { surgeKr } = auroraCourse("breakup", NIGHT_SECONDS, "seed");
    let steepest = 0;
    for (let second = 0; second + 60 < surgeKr.length; second += 1) {
      steepest = Math.max(steepest, Math.log2(surgeKr[second + 60]! / surgeKr[second]!));
    }
    expect(steepest).toBeGreaterThan(3);
  });

  it("rises exponentially at an onset: equal stops in equal times, within a tenth", () => {
    const { surgeKr, surgeKm } = auroraCourse("breakup", NIGHT_SECONDS, "seed");
    const onset = surgeKm.findIndex((km) => km > 0);
    const stops = [0, 10, 20, 30].map((after) => Math.log2(surgeKr[onset + after]!));
    const steps = [1, 2, 3].map((index) => stops[index]! - stops[index - 1]!);
    for (const step of steps) expect(Math.abs(step / steps[0]! - 1)).toBeLessThan(0.1);
  });

  it("stays below IBC II and moves no faster than 0.6 km/s in a quiet night", () => {
    const course = auroraCourse("quiet", NIGHT_SECONDS, "seed");
    expect(Math.max(...course.surgeKr)).toBeLessThan(10);
    for (let second = 0; second < NIGHT_SECONDS; second += 600) {
      expect(foldKmPerSecond(auroraMoment(course, second))).toBeLessThan(0.6);
    }
  });

  it("reaches IBC III and more in a storm, 100 kR", () => {
    expect(Math.max(...auroraCourse("storm", NIGHT_SECONDS, "seed").surgeKr)).toBeGreaterThan(100);
  });

  it("brings the arc equatorward in the growth phase and back in the expansion", () => {
    const { centreKm, surgeKm } = auroraCourse("breakup", NIGHT_SECONDS, "seed");
    const onset = surgeKm.findIndex((km) => km > 0);
    expect(centreKm[onset]!).toBeLessThan(centreKm[onset - 3600]! - 60);
    expect(centreKm[onset + 900]!).toBeGreaterThan(centreKm[onset]! + 40);
  });

  it("pulsates after the breakup of the demo, not before it", () => {
    const { patchKr, surgeKm } = auroraCourse("demo", NIGHT_SECONDS, "seed");
    const onset = surgeKm.findIndex((km) => km > 0);
    expect(Math.max(...patchKr.slice(0, onset))).toBe(0);
    expect(patchKr[onset + 3600]!).toBeGreaterThan(1);
  });

  it("is linear between its seconds and stands still outside the night", () => {
    const course = auroraCourse("demo", 600, "seed");
    const middle = auroraMoment(course, 100.5).quietKr;
    expect(middle).toBeCloseTo((course.quietKr[100]! + course.quietKr[101]!) / 2, 6);
    expect(auroraMoment(course, -50).quietKr).toBe(course.quietKr[0]);
    expect(auroraMoment(course, 1e6).centreKm).toBeCloseTo(course.centreKm.at(-1)!, 2);
  });
});
