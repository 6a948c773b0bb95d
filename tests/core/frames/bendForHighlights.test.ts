import { describe, expect, it } from "vitest";
import { bendForHighlights } from "../../../core/frames/bendForHighlights.ts";

const seconds = Array.from({ length: 400 }, (_, n) => 10 * n);
const course = seconds.map((at) => at / 3600);

describe("a film's exposures where highlights have no room", () => {
  it("are the very same where no frame falls short", () => {
    const limits = course.map((stops) => stops + 0.1);
    expect(bendForHighlights(course, limits, seconds)).toEqual(course);
  });

  it("stay below every frame's limit, and bend by at most 0.05 stop in 10 s for 1.5 stops of one frame", () => {
    const limits = course.map((stops, n) => (n === 200 ? stops - 1.5 : Infinity));
    const bent = bendForHighlights(course, limits, seconds);
    expect(bent[200]! - limits[200]!).toBeLessThan(1e-9);
    for (let n = 1; n < bent.length; n += 1) {
      expect(Math.abs(bent[n]! - bent[n - 1]!)).toBeLessThan(0.05);
    }
    // Twenty minutes and more away nothing is left of it.
    expect(bent[70]).toBe(course[70]);
    expect(bent[330]).toBe(course[330]);
  });
});
