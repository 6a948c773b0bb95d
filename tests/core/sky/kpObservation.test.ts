import fc from "../../support/properties.ts";
import { describe, expect, it } from "vitest";

import { newestKp } from "../../../core/sky/kpObservation.ts";

const NOW = Date.parse("2026-01-10T23:30:00Z");
const AT_21 = Date.parse("2026-01-10T21:00:00Z");

describe("the newest Kp of a feed", () => {
  it("is read from rows under a heading row, numbers as text", () => {
    const feed = [
      ["time_tag", "Kp", "a_running", "station_count"],
      ["2026-01-10 18:00:00.000", "2.67", "12", "8"],
      ["2026-01-10 21:00:00.000", "3.33", "18", "8"],
    ];
    expect(newestKp(feed, NOW)).toEqual({ kp: 3.33, atUtcMs: AT_21 });
  });

  it("is read from a list of objects, whatever their order", () => {
    const feed = [
      { time_tag: "2026-01-10T21:00:00", Kp: 4 },
      { time_tag: "2026-01-10T18:00:00", Kp: 2 },
    ];
    expect(newestKp(feed, NOW)).toEqual({ kp: 4, atUtcMs: AT_21 });
  });

  it("is read from columns", () => {
    const feed = { datetime: ["2026-01-10T18:00:00Z", "2026-01-10T21:00:00Z"], Kp: [1, 5.667] };
    expect(newestKp(feed, NOW)).toEqual({ kp: 5.667, atUtcMs: AT_21 });
  });

  it("is no forecast for later than now, and no Kp of 12", () => {
    const feed = [
      { time_tag: "2026-01-10T21:00:00Z", Kp: 3 },
      { time_tag: "2026-01-11T03:00:00Z", Kp: 7 },
      { time_tag: "2026-01-10T22:00:00Z", Kp: 12 },
    ];
    expect(newestKp(feed, NOW)?.kp).toBe(3);
  });

  it("is null for anything else", () => {
    for (const value of [null, 7, "Kp 3", [], {}, [[]], [["Kp"], ["3"]], [null], { Kp: [1] }]) {
      expect(newestKp(value, NOW)).toBeNull();
    }
    fc.assert(
      fc.property(fc.jsonValue(), (value) => {
        const found = newestKp(value, NOW);
        return found === null || (found.kp >= 0 && found.kp <= 9);
      }),
      { numRuns: 200 },
    );
  });
});
