import fc from "../../support/properties.ts";
import { describe, expect, it } from "vitest";
import { chooseExposureMethod } from "../../../controller/shutter/exposureMethod.ts";

/** True third stops from 1/64 s to 32 s. Source: 2^(n/3), PHYSICS table of shutter series. */
const THIRDS = Array.from({ length: 34 }, (_, index) => 2 ** ((index - 18) / 3));
/** The same as cameras name them, 1 s to 2.5 s. Source: common practice, no source. */
const NAMES = [0.5, 0.6, 0.8, 1, 1.3, 1.6, 2, 2.5];

const choose = (
  exposureSeconds: number,
  ladderSeconds: readonly number[] = THIRDS,
  hasBulb = true,
): ReturnType<typeof chooseExposureMethod> =>
  chooseExposureMethod({ exposureSeconds, ladderSeconds, hasBulb, timedBelowSeconds: 2 });

describe("the way an exposure is made", () => {
  it("is bulb, to the exact length, from 2 s on", () => {
    expect(choose(2)).toEqual({ kind: "bulb", exposureSeconds: 2 });
    expect(choose(7.43)).toEqual({ kind: "bulb", exposureSeconds: 7.43 });
    expect(choose(45)).toEqual({ kind: "bulb", exposureSeconds: 45 });
  });

  it("is the camera's timer at the nearest third stop below 2 s", () => {
    expect(choose(1.99)).toEqual({ kind: "timed", exposureSeconds: 2 });
    expect(choose(0.9)).toEqual({ kind: "timed", exposureSeconds: 2 ** (-1 / 3) * 2 ** (1 / 3) });
    expect(choose(0.5)).toEqual({ kind: "timed", exposureSeconds: 0.5 });
  });

  it("never misses by more than a sixth of a stop on a ladder of third stops", () => {
    fc.assert(
      fc.property(fc.double({ min: 0.016, max: 1.9, noNaN: true }), (seconds) => {
        const method = choose(seconds);
        return (
          method?.kind === "timed" &&
          Math.abs(Math.log2(method.exposureSeconds / seconds)) <= 1 / 6 + 1e-9
        );
      }),
    );
  });

  it("keeps to the timer on a ladder of rounded names, whose steps are uneven", () => {
    for (const seconds of [0.55, 0.7, 0.9, 1.15, 1.45, 1.8]) {
      expect(choose(seconds, NAMES)?.kind).toBe("timed");
    }
  });

  it("is bulb below 2 s when the ladder has nothing near", () => {
    expect(choose(1.4, [1, 2, 4])).toEqual({ kind: "bulb", exposureSeconds: 1.4 });
    expect(choose(1, [])).toEqual({ kind: "bulb", exposureSeconds: 1 });
  });

  it("is the nearest there is without bulb, however far", () => {
    expect(choose(60, THIRDS, false)).toEqual({ kind: "timed", exposureSeconds: 32 });
    expect(choose(1.4, [1, 2, 4], false)).toEqual({ kind: "timed", exposureSeconds: 1 });
  });

  it("is nothing at all on a camera with neither", () => {
    expect(choose(1, [], false)).toBeNull();
  });
});
