import fc from "../../support/properties.ts";
import { describe, expect, it } from "vitest";
import { applyGain16, applyGainPlain } from "../../../controller/deliver/applyGain.ts";
import { frameGain, GAIN_SCALE } from "../../../core/frames/frameGain.ts";
import { startToneResponse } from "../../../core/photometry/response.ts";
import { decodeSrgb, encodeSrgb } from "../../../core/photometry/srgb.ts";
import { hueDeg } from "../../support/hueDeg.ts";

/** Light 0..1 of a pixel after a gain; from codes or, exactly, from light through 16 bits. */
function gained(stops: number, codes: readonly [number, number, number]): number[] {
  const wide = applyGain16(Uint8Array.from(codes), frameGain(stops, null));
  return Array.from(wide, (value) => decodeSrgb(value / 65_535));
}

describe("a frame's gain", () => {
  it("leaves every code as it is at 0 stops", () => {
    const codes = Uint8Array.from({ length: 255 * 3 }, (_, at) => (at * 7) % 256);
    expect(applyGainPlain(codes, frameGain(0, null))).toEqual(codes);
  });

  it("multiplies light by 2^stops up to nine tenths of white, to 0.2 %", () => {
    for (const stops of [1, -1, 0.01, -0.3, 2]) {
      for (const code of [20, 60, 118, 160, 200, 230]) {
        const light = decodeSrgb(code / 255);
        if (light * 2 ** stops > 0.9 || (stops < 0 && light > 0.85)) continue;
        const [after] = gained(stops, [code, code, code]);
        expect(Math.abs(after! / light / 2 ** stops - 1)).toBeLessThan(0.002);
      }
    }
  });

  it("does the same through a learned curve that is sRGB", () => {
    const [plain, learned] = [frameGain(0.7, null), frameGain(0.7, startToneResponse())];
    for (const code of [10, 60, 118, 160]) {
      expect(learned.table[code]! / GAIN_SCALE).toBeCloseTo(plain.table[code]! / GAIN_SCALE, 0);
    }
  });

  // Curtains of the demo night: bright greens and pinks, some with the green clipped.
  it.each([
    [[90, 250, 120]],
    [[120, 255, 160]],
    [[60, 235, 90]],
    [[250, 120, 190]],
    [[235, 140, 210]],
    [[140, 255, 130]],
  ] as const)("keeps the hue of %j to 2° at any gain from −3 to 3 stops", (codes) => {
    const before = hueDeg(codes.map((code) => decodeSrgb(code / 255)));
    for (let stops = -3; stops <= 3; stops += 0.25) {
      expect(Math.abs(hueDeg(gained(stops, codes)) - before)).toBeLessThan(2);
    }
  });

  it("never stretches light where a frame is lowered: no slope exceeds the gain's own by 30 %", () => {
    // A curtain's flank from dark to its clipped green, in steps of half a code.
    for (const stops of [-0.3, -1, -2]) {
      let last: number | null = null;
      for (let code = 100; code <= 255; code += 1) {
        const light = decodeSrgb(code / 255);
        const red = Math.round(255 * encodeSrgb(light * 0.35));
        const [, green] = gained(stops, [red, code, red]);
        const slope =
          last === null ? null : (green! - last) / (light - decodeSrgb((code - 1) / 255));
        if (slope !== null) expect(slope).toBeLessThan(1.3 * 2 ** stops);
        last = green!;
      }
    }
  });

  it("keeps black black and white white, whatever the gain, and never falls along grey", () => {
    fc.assert(
      fc.property(fc.double({ min: -3, max: 3, noNaN: true }), (stops) => {
        const greys = Uint8Array.from({ length: 256 * 3 }, (_, at) => Math.floor(at / 3));
        const after = applyGainPlain(greys, frameGain(stops, null));
        expect(after[0]).toBe(0);
        expect(after.at(-1)).toBeGreaterThan(250);
        for (let at = 3; at < after.length; at += 1) {
          expect(after[at]!).toBeGreaterThanOrEqual(after[at - 3]!);
        }
      }),
    );
  });
});
