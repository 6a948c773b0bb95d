import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { GAIN_SCALE, gainTable } from "../../../core/frames/gainTable.ts";
import { startToneResponse } from "../../../core/photometry/response.ts";
import { decodeSrgb } from "../../../core/photometry/srgb.ts";

describe("gain table", () => {
  it("leaves every code as it is at 0 stops", () => {
    const table = gainTable(0, null);
    expect([...table]).toEqual(Array.from({ length: 256 }, (_, code) => code * GAIN_SCALE));
  });

  it("doubles the light of codes below the shoulder at 1 stop, and halves it at −1", () => {
    for (const stops of [1, -1, 0.01, -0.3]) {
      const table = gainTable(stops, null);
      for (const code of [5, 20, 60, 100, 140]) {
        const light = decodeSrgb(table[code]! / GAIN_SCALE / 255);
        expect(light / decodeSrgb(code / 255)).toBeCloseTo(2 ** stops, 2);
      }
    }
  });

  it("does the same through a learned curve that is sRGB", () => {
    const plain = gainTable(0.7, null);
    const learned = gainTable(0.7, startToneResponse());
    for (const code of [10, 60, 118, 160]) {
      expect(learned[code]! / GAIN_SCALE).toBeCloseTo(plain[code]! / GAIN_SCALE, 0);
    }
  });

  it("never falls, keeps black black and white white, whatever the gain", () => {
    fc.assert(
      fc.property(fc.double({ min: -3, max: 3, noNaN: true }), (stops) => {
        const table = gainTable(stops, null);
        expect(table[0]).toBe(0);
        expect(table[255]).toBe(255 * GAIN_SCALE);
        for (let code = 1; code < 256; code += 1) {
          expect(table[code]!).toBeGreaterThanOrEqual(table[code - 1]!);
        }
      }),
    );
  });
});
