import { describe, expect, it } from "vitest";
import { createPatches, pulse } from "../../../core/simulation/patches.ts";

const { patches, irregular } = createPatches("patches");
const STEP_SECONDS = 0.05;

/** A patch's brightness over ten minutes. */
const courseOf = (patch: (typeof patches)[number]): Float64Array =>
  Float64Array.from({ length: 12_000 }, (_, index) =>
    pulse(patch, irregular, index * STEP_SECONDS),
  );

/** Seconds from each pulse's rise to the next. */
function intervalsOf(course: Float64Array): number[] {
  const rises: number[] = [];
  let isLow = false;
  course.forEach((light, index) => {
    // Half of the weakest pulse's height above the floor.
    if (light < 1 / 3 + 0.06) isLow = true;
    else if (isLow && light > 1 / 3 + 0.12) {
      isLow = false;
      rises.push(index * STEP_SECONDS);
    }
  });
  return rises.slice(1).map((rise, index) => rise - rises[index]!);
}

describe("pulsating patches", () => {
  const courses = patches.map(courseOf);
  const intervals = courses.flatMap(intervalsOf);

  // 2 to 20 s, most commonly 6 to 10 s: see the sources in patches.ts.
  it("pulse every 2 to 20 s, half of them and more every 6 to 10 s", () => {
    expect(intervals.length).toBeGreaterThan(4000);
    expect(Math.min(...intervals)).toBeGreaterThan(2);
    expect(Math.max(...intervals)).toBeLessThan(20);
    const common = intervals.filter((interval) => interval > 6 && interval < 10).length;
    expect(common / intervals.length).toBeGreaterThan(0.5);
  });

  it("never fall below a third of their peak, and never rise above it", () => {
    for (const course of courses) {
      expect(Math.min(...course)).toBeGreaterThanOrEqual(1 / 3);
      expect(Math.max(...course)).toBeLessThanOrEqual(1);
    }
  });

  it("fade as the green line does: no faster than to a quarter of what is above the floor in 0.7 s", () => {
    for (const course of courses) {
      for (let index = 14; index < course.length; index += 1) {
        const [before, after] = [course[index - 14]! - 1 / 3, course[index]! - 1 / 3];
        // Eight moments stand for the exponential: they keep 28 % and more where it keeps 37 %.
        if (before > 0.1) expect(after / before).toBeGreaterThan(0.25);
      }
    }
  });
});
