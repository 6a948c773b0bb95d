import { describe, expect, it } from "vitest";
import { NO_EDITS, cutFrameSets } from "../../../core/frames/frameSets.ts";
import type { FrameRecord } from "../../../core/watch/frameRecord.ts";
import { utcMs } from "../../../core/units.ts";
import { NIGHT_START_UTC_MS, makeFrame } from "../../support/frameRecords.ts";

function frames(count: number, change: (frame: FrameRecord) => Partial<FrameRecord> = () => ({})) {
  return Array.from({ length: count }, (_, frameIndex) => {
    const frame = makeFrame({ frameIndex });
    return { ...frame, ...change(frame) };
  });
}

describe("frame sets", () => {
  it("make one set of an unbroken night, named and counted, played from end to end", () => {
    const sets = cutFrameSets(frames(50));
    expect(sets).toHaveLength(1);
    expect(sets[0]).toMatchObject({
      setId: "made-up-000000",
      name: "Set 1",
      beganBy: "first",
      inFrameIndex: 0,
      outFrameIndex: 49,
      frameCount: 50,
    });
  });

  it("cut where the pace changed", () => {
    const sets = cutFrameSets(
      frames(30, ({ frameIndex }) => ({
        pace: frameIndex >= 10 && frameIndex < 20 ? "sentinel" : "full",
      })),
    );
    expect(sets.map((set) => [set.inFrameIndex, set.beganBy])).toEqual([
      [0, "first"],
      [10, "pace"],
      [20, "pace"],
    ]);
    expect(sets[1]?.name).toBe("Set 2, sentinel pace");
  });

  it("cut at a gap of five minutes, and not at a read-out of 40 s among frames 16 s apart", () => {
    const late = (frame: FrameRecord): Partial<FrameRecord> => ({
      openedUtcMs: utcMs(
        NIGHT_START_UTC_MS +
          frame.frameIndex * 16_000 +
          (frame.frameIndex >= 10 ? 40_000 : 0) +
          (frame.frameIndex >= 20 ? 300_000 : 0),
      ),
    });
    const sets = cutFrameSets(frames(30, late));
    expect(sets.map((set) => [set.inFrameIndex, set.beganBy])).toEqual([
      [0, "first"],
      [20, "gap"],
    ]);
  });

  it("cut where framing or focus changed, by hand, and per camera; a join by hand heals a cut", () => {
    const night = [
      ...frames(20),
      ...frames(5, () => ({ cameraId: "second" })).map((frame) => frame),
    ];
    const changes = [
      { cameraId: "made-up", frameIndex: 5, what: "framing" as const },
      { cameraId: "made-up", frameIndex: 9, what: "focus" as const },
    ];
    const edits = {
      ...NO_EDITS,
      cuts: [{ cameraId: "made-up", frameIndex: 15 }],
      joins: [{ cameraId: "made-up", frameIndex: 9 }],
    };
    const sets = cutFrameSets(night, changes, edits);
    expect(sets.map((set) => [set.cameraId, set.inFrameIndex, set.beganBy])).toEqual([
      ["made-up", 0, "camera"],
      ["made-up", 5, "framing"],
      ["made-up", 15, "byHand"],
      ["second", 0, "camera"],
    ]);
  });

  it("play from the in point to the out point under the given name", () => {
    const edits = {
      ...NO_EDITS,
      names: { "made-up-000000": "The breakup" },
      marks: { "made-up-000000": { in: 3, out: 7 } },
    };
    expect(cutFrameSets(frames(10), [], edits)[0]).toMatchObject({
      name: "The breakup",
      inFrameIndex: 3,
      outFrameIndex: 7,
      frameCount: 5,
    });
  });

  it("skip frames that were not kept, and are none without frames and one with one", () => {
    expect(cutFrameSets([])).toEqual([]);
    const sets = cutFrameSets(
      frames(4, ({ frameIndex }) => (frameIndex === 2 ? { status: "missing", file: null } : {})),
    );
    expect(sets).toMatchObject([{ frameIndices: [0, 1, 3] }]);
    expect(cutFrameSets(frames(1))).toMatchObject([{ frameCount: 1 }]);
  });
});
