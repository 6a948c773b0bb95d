import { describe, expect, it } from "vitest";
import { unitFactorOf } from "../../../core/profiles/exposureUnit.ts";

/** Third stops from the first time to the last, as a camera's list has them. */
function thirds(fastest: number, slowest: number, unitsPerSecond: number): readonly number[] {
  const count = Math.round(3 * Math.log2(slowest / fastest));
  const raw = Array.from({ length: count + 1 }, (_, rung) =>
    Math.max(1, Math.round(fastest * 2 ** (rung / 3) * unitsPerSecond)),
  );
  // As the standard's unit, a tenth of a millisecond, reads them.
  return [...new Set(raw)].map((value) => value / 10_000);
}

describe("the unit of exposure times", () => {
  it.each([
    ["1/8000 to 30 s", 1 / 8000, 30],
    ["1/4000 to 60 s", 1 / 4000, 60],
    ["1/2000 to 15 s", 1 / 2000, 15],
    ["1/4000 to 900 s", 1 / 4000, 900],
    ["1/1000 to 1 s", 1 / 1000, 1],
  ])("is the standard's for a list of %s", (_, fastest, slowest) => {
    expect(unitFactorOf(thirds(fastest, slowest, 10_000))).toBe(1);
  });

  it.each([30, 60])(
    "is a millisecond where the list reads 0.1 ms to a tenth of %i s",
    (slowest) => {
      expect(unitFactorOf(thirds(1 / 4000, slowest, 1000))).toBe(10);
    },
  );

  it.each([30, 60])("is a microsecond where the list reads a hundred times %i s", (slowest) => {
    expect(unitFactorOf(thirds(1 / 8000, slowest, 1_000_000))).toBe(0.01);
  });

  it("is left alone where there are fewer than eight times", () => {
    expect(unitFactorOf([0.0001, 3])).toBe(1);
    expect(unitFactorOf([])).toBe(1);
  });
});
