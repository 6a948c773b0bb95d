import { describe, expect, it } from "vitest";
import { SOAK, growthOf, type Sample } from "./soak.ts";

/** Samples of a run of 4,000 frames in which something depends on the share that is done. */
function run(at: (share: number) => Partial<Sample>): Sample[] {
  return Array.from({ length: 101 }, (_, n) => ({
    frameCount: n * 40,
    residentBytes: 200e6,
    descriptorCount: 40,
    ...at(n / 100),
  }));
}

describe("what a long run holds", () => {
  it("may grow in its first fifth, while caches fill", () => {
    expect(
      growthOf(run((share) => ({ residentBytes: 200e6 * Math.min(1, 0.5 + share * 2.5) }))),
    ).toEqual([]);
  });

  it("is reported when memory grows by a tenth after that", () => {
    expect(growthOf(run((share) => ({ residentBytes: 200e6 * (1 + share * 0.14) })))).toEqual([
      "Memory grew by 10 % over 4000 frames.",
    ]);
  });

  it("is reported when a file stays open every fifty frames", () => {
    expect(growthOf(run((share) => ({ descriptorCount: 40 + Math.round(share * 80) })))).toEqual([
      expect.stringMatching(/^The count of open files grew by \d+ %/),
    ]);
  });

  it("says nothing of a run too short to tell", () => {
    expect(
      growthOf(run((share) => ({ frameCount: share * 100, residentBytes: 1e6 + share * 1e9 }))),
    ).toEqual([]);
  });

  it("is sampled while the real program takes three frames", async () => {
    const { problems, sums } = await SOAK.runCase(7, 3);
    expect(problems).toEqual([]);
    expect(sums["samples"]).toBeGreaterThan(1);
    expect(sums["files open at the end"]).toBeGreaterThan(10);
  }, 120_000);
});
