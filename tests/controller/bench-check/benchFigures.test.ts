import { describe, expect, it } from "vitest";
import {
  batteryFrames,
  excessOf,
  spreadOf,
  type ExposureFigures,
} from "../../../controller/bench-check/benchFigures.ts";

function exposure(heldSeconds: number, exifSeconds: number | null): ExposureFigures {
  return {
    ...{ askedSeconds: Math.round(heldSeconds), heldSeconds, exifSeconds },
    ...{ openLatencyMs: 5, closeLatencyMs: 6, deadMs: null, namedMs: null },
  };
}

describe("what exposures are longer than they were held", () => {
  it("is the median of the files' word less the time held: 31 ms", () => {
    const exposures = [
      exposure(1.0002, 1.0302),
      exposure(2.0001, 2.0311),
      exposure(5.0003, 5.1503),
    ];
    expect(excessOf(exposures, 1).excessMs).toBeCloseTo(31, 6);
  });

  it("is real milliseconds where the night runs 20 times faster", () => {
    expect(excessOf([exposure(1.003, 3.0043)], 20).excessMs).toBeCloseTo(100.065, 3);
  });

  it("is not known from files that round to whole seconds or tenths", () => {
    const exposures = [exposure(1.0002, 1), exposure(2.0001, 2), exposure(5.0003, 5.1)];
    expect(excessOf(exposures, 1)).toEqual({
      excessMs: null,
      remark: "the files round their exposure; latency cannot be known",
    });
  });

  it("is not known from files that do not say", () => {
    expect(excessOf([exposure(1.0002, null)], 1).excessMs).toBeNull();
  });
});

it("a spread has the middle of an even number between its two middles", () => {
  expect(spreadOf([4, 1, 3, 2])).toEqual({ median: 2.5, min: 1, max: 4, count: 4 });
  expect(spreadOf([])).toBeNull();
});

describe("how long the battery lasts", () => {
  it("is distinguished from a level that fell by 2 % in 9 frames", () => {
    expect(batteryFrames({ beforePercent: 80, afterPercent: 78, frames: 9 })).toEqual({
      ...{ frames: 450, isAtLeast: false },
    });
  });

  it("is not made up from a level that stood still, or none", () => {
    expect(batteryFrames({ beforePercent: 80, afterPercent: 80, frames: 9 })?.isAtLeast).toBe(true);
    expect(batteryFrames({ beforePercent: null, afterPercent: 80, frames: 9 })).toBeNull();
  });
});
