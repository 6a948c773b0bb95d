import { describe, expect, it } from "vitest";
import { chooseKeepers, type KeeperCandidate } from "../../../core/frames/keepers.ts";

function candidate(frameIndex: number, fields: Partial<KeeperCandidate> = {}): KeeperCandidate {
  return {
    ...{ cameraId: "a", frameIndex, openedUtcMs: frameIndex * 1000, meanStops: -2 },
    ...{ structure: 0.2, colour: 0.3, sharpness: 0.5, clippedShare: 0 },
    // Every frame a picture of its own.
    cellStops: Array.from({ length: 12 }, (_, k) => Math.sin(frameIndex * 1.7 + k)),
    ...fields,
  };
}

const NIGHT = Array.from({ length: 60 }, (_, n) => candidate(n));

describe("keepers", () => {
  it("are a dozen, the most structured, colourful and sharp first, with their reasons", () => {
    const night = NIGHT.map((one) =>
      one.frameIndex === 33 ? { ...one, structure: 1.2, colour: 0.8, sharpness: 0.9 } : one,
    );
    const keepers = chooseKeepers(night);
    expect(keepers).toHaveLength(12);
    expect(keepers[0]).toMatchObject({
      frameIndex: 33,
      isByHand: false,
      reasons: ["strong structure", "rich colour", "sharp", "highlights whole"],
    });
    expect(keepers.every((keeper) => keeper.reasons.length > 0)).toBe(true);
  });

  it("pass over a frame with 5 % of it clipped", () => {
    const night = NIGHT.map((one) =>
      one.frameIndex === 5
        ? { ...one, structure: 1, clippedShare: 0.05 }
        : { ...one, structure: one.frameIndex / 100 },
    );
    expect(chooseKeepers(night).some((keeper) => keeper.frameIndex === 5)).toBe(false);
  });

  it("pass over a frame 5 stops darker than the night's usual one, though it is unlike all others", () => {
    const dark = { meanStops: -7, cellStops: new Array<number>(12).fill(-9) };
    const night = NIGHT.map((one) => (one.frameIndex === 0 ? { ...one, ...dark } : one));
    expect(chooseKeepers(night).some((keeper) => keeper.frameIndex === 0)).toBe(false);
  });

  it("are not one picture twelve times", () => {
    const same = Array.from({ length: 12 }, () => 0);
    const burst = Array.from({ length: 30 }, (_, n) =>
      candidate(100 + n, { structure: 1 + n / 1000, cellStops: same }),
    );
    const keepers = chooseKeepers([...NIGHT, ...burst]);
    expect(keepers.filter((keeper) => keeper.frameIndex >= 100)).toHaveLength(1);
  });

  it("hold at most 3 frames of the night's best 6 minutes, and reach over 8 of its 10 hours", () => {
    const minute = 60_000;
    const night = Array.from({ length: 600 }, (_, n) =>
      candidate(n, { openedUtcMs: n * minute, structure: n >= 300 && n < 306 ? 1.2 : 0.5 }),
    );
    const minutes = chooseKeepers(night).map((keeper) => keeper.openedUtcMs! / minute);
    const best = minutes.filter((one) => one >= 300 && one < 306).length;
    expect(best).toBeGreaterThanOrEqual(1);
    expect(best).toBeLessThanOrEqual(3);
    expect(Math.max(...minutes) - Math.min(...minutes)).toBeGreaterThan(8 * 60);
  });

  it("count one picture at two exposures as one", () => {
    const arc = Array.from({ length: 12 }, (_, k) => Math.cos(k));
    const brighter = arc.map((stops) => stops + 1);
    const pair = [candidate(100, { cellStops: arc }), candidate(101, { cellStops: brighter })];
    expect(chooseKeepers(pair)).toHaveLength(1);
  });

  it("begin with what was picked by hand and never hold what was left by hand", () => {
    const words = [
      { cameraId: "a", frameIndex: 7, pick: "keep" as const },
      { cameraId: "a", frameIndex: 33, pick: "leave" as const },
    ];
    const night = NIGHT.map((one) => (one.frameIndex === 33 ? { ...one, structure: 2 } : one));
    const keepers = chooseKeepers(night, words);
    expect(keepers[0]).toMatchObject({ frameIndex: 7, isByHand: true });
    expect(keepers[0]!.reasons[0]).toBe("your pick");
    expect(keepers.some((keeper) => keeper.frameIndex === 33)).toBe(false);
  });

  it("are none of none and one of one", () => {
    expect(chooseKeepers([])).toEqual([]);
    expect(chooseKeepers([candidate(3)])).toHaveLength(1);
  });
});
