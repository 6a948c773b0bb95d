import fc from "../../support/properties.ts";
import { describe, expect, it } from "vitest";
import { alignByTime } from "../../../core/frames/alignByTime.ts";

describe("alignment by time", () => {
  it("pairs what is near and leaves what has no partner", () => {
    const pairs = alignByTime([0, 10, 20, 30], [1, 19, 50], [3, 3, 3, 3]);
    expect(pairs).toEqual([
      [0, 0],
      [2, 1],
    ]);
  });

  it("prefers two loose pairs to one close one", () => {
    expect(alignByTime([0, 2], [1, 3], [2, 2])).toEqual([
      [0, 0],
      [1, 1],
    ]);
  });

  it("gives nothing for nothing", () => {
    expect(alignByTime([], [1], [])).toEqual([]);
    expect(alignByTime([1], [], [5])).toEqual([]);
  });

  it("pairs rise on both sides, lie within the tolerance, and are as many as trying all gives", () => {
    const times = fc.array(fc.integer({ min: 0, max: 40 }), { maxLength: 6 });
    const rising = times.map((list) => [...list].sort((a, b) => a - b));
    fc.assert(
      fc.property(rising, rising, fc.integer({ min: 0, max: 6 }), (first, second, tolerance) => {
        const pairs = alignByTime(
          first,
          second,
          first.map(() => tolerance),
        );
        for (const [n, [i, j]] of pairs.entries()) {
          expect(Math.abs(first[i]! - second[j]!)).toBeLessThanOrEqual(tolerance);
          if (n > 0) {
            expect(i).toBeGreaterThan(pairs[n - 1]![0]);
            expect(j).toBeGreaterThan(pairs[n - 1]![1]);
          }
        }
        expect(pairs).toHaveLength(mostPairs(first, second, tolerance));
      }),
    );
  });
});

/** By trying everything: slow and plainly right. */
function mostPairs(first: readonly number[], second: readonly number[], tolerance: number): number {
  if (first.length === 0 || second.length === 0) return 0;
  const [a, ...restA] = first as [number, ...number[]];
  const [b, ...restB] = second as [number, ...number[]];
  const paired = Math.abs(a - b) <= tolerance ? 1 + mostPairs(restA, restB, tolerance) : 0;
  return Math.max(paired, mostPairs(restA, second, tolerance), mostPairs(first, restB, tolerance));
}
