import { describe, expect, it } from "vitest";
import { knownResponse } from "../../../core/photometry/knownResponse.ts";
import { lightOfCode, type ToneResponse } from "../../../core/photometry/response.ts";
import { TONE_CURVES, toneCode, type ToneCurve } from "../../../core/simulation/toneCurve.ts";

const HALF_STOPS = Array.from({ length: 22 }, (_, step) => -8 + step / 2);

/** Full at 7.8 times mid-grey (ISO 12232); here only the unit, which drops out. */
const codeAt = (curve: ToneCurve, lightStops: number): number =>
  toneCode(curve, 2 ** lightStops / 7.8);

/** How far two lights lie apart by the curve, stops. */
const stopsBetween = (response: ToneResponse, code1: number, code2: number): number =>
  Math.log2(lightOfCode(response, code2) / lightOfCode(response, code1));

describe("a tone curve that is known from points half a stop apart", () => {
  it.each(Object.entries(TONE_CURVES))("%s: gives every step of light", (_, curve) => {
    const points = HALF_STOPS.map((lightStops) => ({
      lightStops,
      code: codeAt(curve, lightStops),
    }));
    const response = knownResponse(points);
    // Between the points, over the six stops that a night's frames fill.
    for (let lightStops = -3.75; lightStops < 2.25; lightStops += 0.5) {
      const [code1, code2] = [codeAt(curve, lightStops), codeAt(curve, lightStops + 0.5)];
      expect(stopsBetween(response, code1, code2), `${lightStops}`).toBeCloseTo(0.5, 1.7);
    }
    expect(response.isSure).toBe(true);
  });

  it("is the same whatever light the points count from", () => {
    const responseFrom = (from: number) =>
      knownResponse(
        HALF_STOPS.map((stops) => ({
          lightStops: stops + from,
          code: codeAt(TONE_CURVES.flat, stops),
        })),
      );
    const [here, there] = [responseFrom(0), responseFrom(5)];
    for (const code of [10, 60, 118, 200, 245]) {
      expect(lightOfCode(there, code)).toBeCloseTo(lightOfCode(here, code), 3);
    }
  });

  it("takes light below black and above white for nothing known", () => {
    const points = [
      { lightStops: -20, code: 0 },
      ...HALF_STOPS.map((lightStops) => ({
        lightStops,
        code: codeAt(TONE_CURVES.mild, lightStops),
      })),
      { lightStops: 19, code: 255 },
    ];
    const response = knownResponse(points);
    const [code1, code2] = [codeAt(TONE_CURVES.mild, -1), codeAt(TONE_CURVES.mild, 1)];
    expect(stopsBetween(response, code1, code2)).toBeCloseTo(2, 1);
  });

  it("of sRGB's own curve is sRGB (IEC 61966-2-1)", () => {
    const encode = (light: number) =>
      255 * (light <= 0.0031308 ? 12.92 * light : 1.055 * light ** (1 / 2.4) - 0.055);
    const points = HALF_STOPS.filter((stops) => stops <= 2).map((stops) => ({
      lightStops: stops,
      code: encode(2 ** stops / 4.6),
    }));
    const response = knownResponse(points);
    for (const stops of [-5, -3, -1, 0, 1]) {
      const [code1, code2] = [encode(2 ** stops / 4.6), encode(2 ** (stops + 1) / 4.6)];
      expect(stopsBetween(response, code1, code2), `${stops}`).toBeCloseTo(1, 2);
    }
  });
});
