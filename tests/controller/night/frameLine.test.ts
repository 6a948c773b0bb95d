import { describe, expect, it } from "vitest";
import { frameLine } from "../../../controller/night/frameLine.ts";
import type { FrameRecord } from "../../../core/watch/frameRecord.ts";
import { utcMs } from "../../../core/units.ts";
import { aReading } from "../../support/watchFixtures.ts";

const exposure = { exposureSeconds: 7.434, iso: 3200, fNumber: 2.8 };

function aFrame(changes: Partial<FrameRecord> = {}): FrameRecord {
  return {
    frameIndex: 41,
    cameraId: "camera-1",
    status: "kept",
    ordered: exposure,
    reasons: ["following the sky's trend"],
    targetStops: -2,
    openedUtcMs: utcMs(Date.UTC(2026, 9, 5, 16, 15, 26)),
    happened: exposure,
    file: null,
    reading: aReading({ skyStops: -1.88 }),
    pace: "full",
    ...changes,
  };
}

describe("the line of a frame", () => {
  it("says time, number, seconds, ISO, f-number, stops from target and why", () => {
    expect(frameLine(aFrame(), null)).toBe(
      "16:15:26 #0041  7.43 s ISO 3200  f/2.8 +0.12 stop  following the sky's trend",
    );
  });

  it("stands in the same columns for 0.5 s at ISO 100 and for 15 s at ISO 12800", () => {
    const short = frameLine(
      aFrame({ happened: { exposureSeconds: 0.5, iso: 100, fNumber: 4 } }),
      null,
    );
    const long = frameLine(
      aFrame({ happened: { exposureSeconds: 15, iso: 12800, fNumber: 2.8 } }),
      null,
    );
    expect(short.indexOf("following")).toBe(long.indexOf("following"));
  });

  it("names the camera where there are two", () => {
    expect(frameLine(aFrame(), "camera-2")).toContain(" camera-2 #0041 ");
  });

  it("keeps to 100 columns, whole reasons first", () => {
    const reasons = [
      "0.6 stops darker to learn the tone curve",
      "sky pulsates: exposed for its mean",
      "shortest exposure and ISO at its lowest: brighter than wanted",
    ];
    const line = frameLine(aFrame({ reasons }), null);
    expect(line.length).toBeLessThanOrEqual(100);
    expect(line).toMatch(/0\.6 stops darker to learn the tone curve …$/);
    const tooLong = frameLine(aFrame({ reasons: [reasons.join(" and ")] }), "camera-2");
    expect(tooLong.length).toBeLessThanOrEqual(100);
    expect(tooLong).toMatch(/\w …$/);
  });

  it("says of a frame without a reading that it was not metered", () => {
    expect(frameLine(aFrame({ reading: null }), null)).toContain(" not metered ");
  });
});
