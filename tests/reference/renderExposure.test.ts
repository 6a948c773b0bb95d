/**
 * The renderer against worked figures of the exposure of the green line.
 *
 * Sources: the rayleigh after Hunten, Roach and Chamberlain 1956 (J. Atmos. Terr. Phys. 8:345);
 * electrons R · 1e10 · T · Q · p² / (16 N²) · t; mid-grey 10 / S and saturation 78 / S lux-seconds
 * by ISO 12232; IBC I to IV as 1 to 1000 kR. Worked by hand from these, tolerance 1 %.
 */
import { describe, expect, it } from "vitest";
import { linearPerCdM2, channelGrain, FULL_FRAME_SENSOR } from "../../core/simulation/sensor.ts";
import { TONE_CURVES } from "../../core/simulation/render.ts";
import { greenLineScene, SCENE_START_UTC_MS } from "../support/scenes.ts";
import { meteredLuminanceCdM2 } from "../support/meteredSky.ts";
import { toneCode, type ToneCurve } from "../../core/simulation/toneCurve.ts";
import { makeFramePicture } from "../support/renderedFrame.ts";

const EXPOSURE = { exposureSeconds: 15, iso: 1600, fNumber: 2.8 };

/** Linear light of every code of a curve, by search along it. */
function lightOfCodes(curve: ToneCurve): Float64Array {
  let light = 0;
  return Float64Array.from({ length: 256 }, (_, code) => {
    while (light < 1 && toneCode(curve, light) < code) light += 1e-5;
    return light;
  });
}

describe("557.7 nm through the renderer", () => {
  it.each([
    [1, 1.933e-4],
    [10, 1.933e-3],
    [100, 1.933e-2],
    [1000, 0.1933],
  ])("%d kR have a luminance of %d cd/m², to 1 %", (kilorayleigh, luminance) => {
    const sky = greenLineScene({ kilorayleigh });
    expect(meteredLuminanceCdM2(sky, SCENE_START_UTC_MS) / luminance).toBeCloseTo(1, 2);
  });

  it("lands 1.4 stops under mid-grey for 10 kR at 15 s, f/2.8, ISO 1600", () => {
    const { truth } = makeFramePicture({ sky: greenLineScene({ kilorayleigh: 10 }) });
    expect(truth.meanSkyStops).toBeCloseTo(-1.38, 1);
    expect(truth.meanSkyStops).toBeCloseTo(-1.38, 1.5);
  });

  it.each(Object.values(TONE_CURVES))(
    "shows the picture's luminance 1.4 stops under mid-grey once $name is undone, to 0.05",
    (toneCurve) => {
      const frame = makeFramePicture({
        sky: greenLineScene({ kilorayleigh: 10 }),
        toneCurve,
        // Fine grain only: clipping of grain at black would lift the mean of red and blue.
        sensor: { ...FULL_FRAME_SENSOR, hotPixelCount: 0, pixelPitchUm: 1 },
      });
      const light = lightOfCodes(toneCurve);
      let sum = 0;
      for (let index = 0; index < frame.rgb.length; index += 3) {
        sum +=
          0.2126 * light[frame.rgb[index]!]! +
          0.7152 * light[frame.rgb[index + 1]!]! +
          0.0722 * light[frame.rgb[index + 2]!]!;
      }
      const mean = (sum * 3) / frame.rgb.length;
      expect(Math.abs(Math.log2(mean / (10 / 78)) + 1.38)).toBeLessThan(0.05);
    },
  );

  it.each([
    [10, 2.8, 6.0, 183.0],
    [10, 2.8, 3.92, 78.1],
    [10, 1.4, 6.0, 731.8],
    [100, 2.8, 6.0, 1830],
    [1, 2.8, 6.0, 18.3],
  ])(
    "%d kR at f/%d make in 15 s, in a pixel of %d µm, %d electrons (T 0.85, Q 0.5), to 1 %",
    (kilorayleigh, fNumber, pixelPitchUm, electrons) => {
      const { truth } = makeFramePicture({
        sky: greenLineScene({ kilorayleigh }),
        exposure: { ...EXPOSURE, fNumber },
        sensor: { ...FULL_FRAME_SENSOR, hotPixelCount: 0, pixelPitchUm },
      });
      expect(truth.greenElectrons / electrons).toBeGreaterThan(0.99);
      expect(truth.greenElectrons / electrons).toBeLessThan(1.01);
    },
  );

  // SNR = S / √(S + D t + r²) with r 3, D 0.05 (Janesick 2001; EMVA 1288; from memory).
  it.each([
    [10, 13.2],
    [100, 42.7],
    [1, 3.5],
  ])("%d kR have a signal to noise of %d in one green pixel, to 2 %", (kilorayleigh, ratio) => {
    const grain = channelGrain({
      channel: "green",
      exposure: EXPOSURE,
      transmission: 0.85,
      sensor: FULL_FRAME_SENSOR,
      pitchUm: 6,
    });
    const light = 1.933e-4 * kilorayleigh * linearPerCdM2(EXPOSURE);
    const found = light / Math.sqrt(light * grain.perLight + grain.floor);
    expect(found / ratio).toBeGreaterThan(0.98);
    expect(found / ratio).toBeLessThan(1.02);
  });

  it("reaches mid-grey with 26 kR, +1.94 stops with IBC III, and clips with IBC IV", () => {
    const stops = (kilorayleigh: number): number =>
      makeFramePicture({ sky: greenLineScene({ kilorayleigh }) }).truth.meanSkyStops;
    expect(Math.abs(stops(26))).toBeLessThan(0.02);
    expect(Math.abs(stops(100) - 1.94)).toBeLessThan(0.01);
    const storm = makeFramePicture({ sky: greenLineScene({ kilorayleigh: 1000 }) });
    expect(storm.truth.clippedShare.green).toBe(1);
  });
});
