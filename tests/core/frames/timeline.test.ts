import { describe, expect, it } from "vitest";
import { gapsOf, surgesOf } from "../../../core/frames/timeline.ts";
import { stopsFromMidGrey } from "../../../core/exposure/exposure.ts";
import { utcMs } from "../../../core/units.ts";
import { NIGHT_START_UTC_MS, makeFrame, makeReading } from "../../support/frameRecords.ts";

describe("the timeline of a night", () => {
  it("tells a rise of 3 stops within a minute as one surge, at its time", () => {
    const frames = Array.from({ length: 160 }, (_, frameIndex) => {
      const seconds = frameIndex * 8;
      const rise = 3 * Math.min(1, Math.max(0, (seconds - 640) / 40));
      const luminance = 0.001 * 2 ** (seconds > 900 ? 0 : rise);
      const frame = makeFrame({
        frameIndex,
        openedUtcMs: utcMs(NIGHT_START_UTC_MS + seconds * 1000),
      });
      const skyStops = stopsFromMidGrey(luminance, frame.happened!);
      const motion = { kind: "measured", degPerSecond: 0.5, pxPerSecond: 40 } as const;
      return { ...frame, reading: makeReading({ skyStops, peakRatio: 4, motion }) };
    });
    const surges = surgesOf(frames);
    expect(surges).toHaveLength(1);
    const startSeconds = (surges[0]!.startUtcMs - NIGHT_START_UTC_MS) / 1000;
    expect(startSeconds).toBeGreaterThanOrEqual(640);
    expect(startSeconds).toBeLessThanOrEqual(690);
    expect(surges[0]!.riseStops).toBeGreaterThan(2.5);
    expect(surges[0]!.endUtcMs).not.toBeNull();
  });

  it("tells a gap with how many frames are missing, and none of a steady night", () => {
    const frames = Array.from({ length: 40 }, (_, frameIndex) => makeFrame({ frameIndex }));
    expect(gapsOf(frames)).toEqual([]);
    const broken = frames.filter(({ frameIndex }) => frameIndex < 10 || frameIndex >= 20);
    expect(gapsOf(broken)).toEqual([
      {
        startUtcMs: frames[9]!.openedUtcMs,
        endUtcMs: frames[20]!.openedUtcMs,
        why: "10 frames missing",
      },
    ]);
  });

  it("is empty for no frames", () => {
    expect(surgesOf([])).toEqual([]);
    expect(gapsOf([])).toEqual([]);
  });
});
