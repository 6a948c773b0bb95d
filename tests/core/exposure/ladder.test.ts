import fc from "../../support/properties.ts";
import { describe, expect, it } from "vitest";
import { THIRD_STOP_ISO, usableIsos } from "../../../core/exposure/ladder.ts";

describe("the ISO ladder", () => {
  it("holds third stops between the limits and the limits themselves when a camera names none", () => {
    expect(usableIsos([], { isoMin: 100, isoMax: 400 })).toEqual([
      100, 125, 160, 200, 250, 320, 400,
    ]);
    expect(usableIsos([], { isoMin: 110, isoMax: 210 })).toEqual([110, 125, 160, 200, 210]);
    expect(usableIsos([], { isoMin: 800, isoMax: 800 })).toEqual([800]);
  });

  it("keeps only the camera's rungs within the limits, ascending and once each", () => {
    expect(usableIsos([3200, 100, 800, 800, 6400], { isoMin: 200, isoMax: 3200 })).toEqual([
      800, 3200,
    ]);
  });

  it("gives the rung nearest to the limits when none lies within them", () => {
    expect(usableIsos([100, 200], { isoMin: 800, isoMax: 1600 })).toEqual([200]);
    expect(usableIsos([6400, 12800], { isoMin: 100, isoMax: 400 })).toEqual([6400]);
  });

  it("is never empty and always ascends, whatever the camera reports", () => {
    const iso = fc.oneof(fc.constantFrom(...THIRD_STOP_ISO), fc.double());
    fc.assert(
      fc.property(fc.array(iso), fc.nat(20000), fc.nat(20000), (ladder, low, high) => {
        const isos = usableIsos(ladder, { isoMin: low + 1, isoMax: high + 1 });
        expect(isos.length).toBeGreaterThan(0);
        for (const rung of isos) expect(rung).toBeGreaterThan(0);
        for (let index = 1; index < isos.length; index += 1) {
          expect(isos[index]!).toBeGreaterThan(isos[index - 1]!);
        }
      }),
    );
  });
});
