import { createHash } from "node:crypto";
import { describe, expect, it } from "vitest";
import { createRandom } from "../../../core/random.ts";
import { COLOUR_MATRIX } from "../../../core/simulation/colour.ts";
import { FULL_FRAME_SENSOR, TONE_CURVES } from "../../../core/simulation/render.ts";
import {
  arcScene,
  driftingCurtainScene,
  greenLineScene,
  SCENE_START_UTC_MS,
  starScene,
  uniformScene,
} from "../../support/scenes.ts";
import { channelGrain, linearPerCdM2 } from "../../../core/simulation/sensor.ts";
import { createSky, DEMO_NIGHT, HUT_SEVEN } from "../../../core/simulation/sky.ts";
import { createRenderMemory } from "../../../core/simulation/renderMemory.ts";
import { meteredLuminanceCdM2 } from "../../support/meteredSky.ts";
import { toneCode } from "../../../core/simulation/toneCurve.ts";
import type { UtcMs } from "../../../core/units.ts";
import { channelOf, makeFramePicture, meanCode } from "../../support/renderedFrame.ts";

const DEMO = createSky({ seed: 1, place: HUT_SEVEN, ...DEMO_NIGHT, scenario: "demo" });
const BREAKUP_UTC_MS = (DEMO_NIGHT.startUtcMs +
  0.37 * DEMO_NIGHT.durationSeconds * 1000 +
  120_000) as UtcMs;

const hashOf = (bytes: Uint8Array): string => createHash("sha256").update(bytes).digest("hex");

/** Mean absolute step from a pixel to its right neighbour. */
function roughness(values: Float64Array, widthPx: number): number {
  let sum = 0;
  for (let index = 1; index < values.length; index += 1) {
    if (index % widthPx !== 0) sum += Math.abs(values[index]! - values[index - 1]!);
  }
  return sum / values.length;
}

describe("a rendered frame", () => {
  const demoFrame = (seed: string, night = DEMO) =>
    makeFramePicture({
      sky: night,
      openedUtcMs: BREAKUP_UTC_MS,
      widthPx: 240,
      heightPx: 160,
      exposure: { exposureSeconds: 4, iso: 1600, fNumber: 2.8 },
      random: createRandom(seed),
    });

  it("has the same bits for the same seed, whatever was rendered in between", () => {
    const first = demoFrame("grain");
    demoFrame("something else");
    const again = createSky({ seed: 1, place: HUT_SEVEN, ...DEMO_NIGHT, scenario: "demo" });
    expect(hashOf(demoFrame("grain").rgb)).toBe(hashOf(first.rgb));
    expect(hashOf(demoFrame("grain", again).rgb)).toBe(hashOf(first.rgb));
    expect(demoFrame("grain", again).truth).toEqual(first.truth);
  });

  it("differs with the grain's seed and with the sky's", () => {
    const first = hashOf(demoFrame("grain").rgb);
    const other = createSky({ seed: 2, place: HUT_SEVEN, ...DEMO_NIGHT, scenario: "demo" });
    expect(hashOf(demoFrame("other grain").rgb)).not.toBe(first);
    expect(hashOf(demoFrame("grain", other).rgb)).not.toBe(first);
  });

  it("renders a grey sky at mid-grey to the tone curve's own code, in all three channels", () => {
    const exposure = { exposureSeconds: 8, iso: 1600, fNumber: 2.8 };
    const luminanceCdM2 = 10 / 78 / linearPerCdM2(exposure);
    for (const toneCurve of Object.values(TONE_CURVES)) {
      const frame = makeFramePicture({ sky: uniformScene({ luminanceCdM2 }), exposure, toneCurve });
      for (const channel of [0, 1, 2] as const) {
        expect(Math.abs(meanCode(frame, channel) - toneCode(toneCurve, 10 / 78))).toBeLessThan(0.6);
      }
      expect(frame.truth.meanSkyStops).toBeCloseTo(0, 4);
    }
  });

  it("records twice the light for twice the time, twice the ISO or 1/√2 of the f-number", () => {
    const codeAt = (exposureSeconds: number, iso: number, fNumber: number): number =>
      meanCode(makeFramePicture({ exposure: { exposureSeconds, iso, fNumber } }), 1);
    const once = codeAt(8, 800, 2.8);
    const twice = codeAt(16, 800, 2.8);
    expect(twice).toBeGreaterThan(once + 5);
    expect(codeAt(8, 1600, 2.8)).toBeCloseTo(twice, 0);
    expect(codeAt(8, 800, 2.8 / Math.SQRT2)).toBeCloseTo(twice, 0);
  });

  it("clips green first under the green line, and nothing two stops below saturation", () => {
    const exposure = { exposureSeconds: 4, iso: 1600, fNumber: 2.8 };
    const kilorayleighAtWhite = 1 / linearPerCdM2(exposure) / 1.933e-4;
    const clipped = (share: number) =>
      makeFramePicture({
        sky: greenLineScene({ kilorayleigh: share * kilorayleighAtWhite }),
        exposure,
      }).truth.clippedShare;
    expect(clipped(0.25)).toEqual({ red: 0, green: 0, blue: 0 });
    const bright = clipped(1.2);
    expect(bright.green).toBeGreaterThan(0.99);
    expect(bright.red).toBeLessThan(0.01);
    expect(bright.blue).toBeLessThan(0.01);
  });

  it("keeps overexposed white white: all channels at 255 under a sky of ten times saturation", () => {
    const frame = makeFramePicture({ sky: uniformScene({ luminanceCdM2: 1 }) });
    expect([...frame.rgb.slice(0, 3)]).toEqual([255, 255, 255]);
    expect(frame.truth.clippedShare).toEqual({ red: 1, green: 1, blue: 1 });
  });

  it("darkens toward the corners with vignetting on, and says by how much it recorded less", () => {
    const sky = uniformScene({ luminanceCdM2: 2e-3 });
    const frame = makeFramePicture({ sky, lens: { focalLengthMm: 16 } });
    const green = channelOf(frame, 1);
    const corner = (green[0]! + green[1]! + green[96]!) / 3;
    const centre = (green[32 * 96 + 48]! + green[32 * 96 + 49]! + green[33 * 96 + 48]!) / 3;
    expect(corner).toBeLessThan(0.8 * centre);
    const lostStops = frame.truth.meanSkyStops - frame.truth.recordedSkyStops;
    expect(lostStops).toBeGreaterThan(0.2);
    expect(lostStops).toBeLessThan(1);
  });

  it("says the mean that the sky itself says, at 240 and at 1200 pixels, within 0.06 stop", () => {
    const metered = meteredLuminanceCdM2(DEMO, (BREAKUP_UTC_MS + 50) as UtcMs);
    for (const widthPx of [240, 1200]) {
      const frame = makeFramePicture({
        sky: DEMO,
        openedUtcMs: BREAKUP_UTC_MS,
        exposure: { exposureSeconds: 0.1, iso: 6400, fNumber: 2.8 },
        widthPx,
        heightPx: (widthPx * 2) / 3,
      });
      expect(Math.abs(Math.log2(frame.truth.meanSkyCdM2 / metered))).toBeLessThan(0.06);
    }
  });

  it("smooths moving rays: 15 s at 0.5 °/s are smoother than 0.1 s of the same brightness", () => {
    const sky = driftingCurtainScene({ degPerSecond: 0.5, luminanceCdM2: 3e-3, widthDeg: 2 });
    const picture = (exposureSeconds: number, iso: number) =>
      makeFramePicture({
        sky,
        exposure: { exposureSeconds, iso, fNumber: 2.8 },
        widthPx: 300,
        heightPx: 200,
        sensor: {
          ...FULL_FRAME_SENSOR,
          hotPixelCount: 0,
          readNoiseElectrons: 0,
          pixelPitchUm: 0.2,
        },
        lens: { focalLengthMm: 16, isVignetting: false },
      });
    const sharp = roughness(channelOf(picture(0.1, 96_000), 1), 300);
    const smeared = roughness(channelOf(picture(15, 640), 1), 300);
    expect(smeared).toBeLessThan(0.6 * sharp);
  });

  it("moves rays by the speed that the scene was given: 0.4 °/s for 10 s are 4.0°, to 0.15°", () => {
    const sky = driftingCurtainScene({ degPerSecond: 0.4, luminanceCdM2: 5e-3, widthDeg: 3 });
    const widthPx = 600;
    const row = (afterSeconds: number): Float64Array => {
      const frame = makeFramePicture({
        sky,
        openedUtcMs: (SCENE_START_UTC_MS + afterSeconds * 1000) as UtcMs,
        exposure: { exposureSeconds: 0.5, iso: 12_800, fNumber: 1.4 },
        widthPx,
        heightPx: 400,
      });
      const green = channelOf(frame, 1);
      return Float64Array.from({ length: widthPx }, (_, x) => {
        let sum = 0;
        for (let y = 190; y < 210; y += 1) sum += green[y * widthPx + x]!;
        return sum;
      });
    };
    const [before, after] = [row(0), row(10)];
    // Near the axis a degree is f · tan 1° wide.
    const pxPerDeg = (16 / (36 / widthPx)) * Math.tan(Math.PI / 180);
    const mismatch = (shift: number): number => {
      let sum = 0;
      for (let x = 260; x < 340; x += 1) sum += (after[x + shift]! - before[x]!) ** 2;
      return sum;
    };
    let best = 0;
    for (let shift = -40; shift <= 40; shift += 1)
      if (mismatch(shift) < mismatch(best)) best = shift;
    expect(Math.abs(best / pxPerDeg - 4)).toBeLessThan(0.15);
  });

  it("draws an arc between the altitudes that the scene was given, to 0.5°", () => {
    const sky = arcScene({ luminanceCdM2: 5e-3, fromAltitudeDeg: 35, toAltitudeDeg: 55 });
    const frame = makeFramePicture({ sky, widthPx: 600, heightPx: 400 });
    const green = channelOf(frame, 1);
    const altitudeOf = (y: number): number =>
      45 + (Math.atan((200 - y - 0.5) / (16 / (36 / 600))) * 180) / Math.PI;
    const lit = Array.from({ length: 400 }, (_, y) => y).filter((y) => green[y * 600 + 300]! > 8);
    // The band fades over 4° inside its upper end and 1.5° inside its lower one.
    expect(altitudeOf(lit.at(-1)!)).toBeGreaterThan(34.5);
    expect(altitudeOf(lit.at(-1)!)).toBeLessThan(36);
    expect(altitudeOf(lit[0]!)).toBeLessThan(55.5);
    expect(altitudeOf(lit[0]!)).toBeGreaterThan(53.5);
  });

  it("has grain whose variance is shot noise on read noise: 10 means, within 4 %", () => {
    // Three equal channels under a flat scene: the colour matrix mixes their grain, and the tone
    // curve stretches it by its slope. A coarse sensor makes grain larger than a code.
    const exposure = { exposureSeconds: 15, iso: 1600, fNumber: 2.8 };
    const sensor = {
      ...FULL_FRAME_SENSOR,
      hotPixelCount: 0,
      pixelPitchUm: 120,
      greenQuantumEfficiency: 0.5 / 400,
    };
    const grain = (["red", "green", "blue"] as const).map((channel) =>
      channelGrain({ channel, exposure, transmission: 0.85, sensor, pitchUm: 120 }),
    );
    for (let step = 1; step <= 10; step += 1) {
      const light = 0.06 * step;
      const frame = makeFramePicture({
        sky: uniformScene({ luminanceCdM2: light / linearPerCdM2(exposure) }),
        exposure,
        sensor,
        widthPx: 300,
        heightPx: 200,
      });
      const green = channelOf(frame, 1);
      const mean = green.reduce((sum, code) => sum + code, 0) / green.length;
      const variance = green.reduce((sum, code) => sum + (code - mean) ** 2, 0) / green.length;
      const { mild } = TONE_CURVES;
      const slope = (toneCode(mild, light + 0.005) - toneCode(mild, light - 0.005)) / 0.01;
      const mixed = COLOUR_MATRIX[1].reduce(
        (sum, part, index) =>
          sum + part ** 2 * (light * grain[index]!.perLight + grain[index]!.floor),
        0,
      );
      // Rounding to whole codes adds a twelfth.
      expect(variance / (mixed * slope ** 2 + 1 / 12)).toBeGreaterThan(0.96);
      expect(variance / (mixed * slope ** 2 + 1 / 12)).toBeLessThan(1.04);
    }
  });

  it("leaves hot pixels in place from frame to frame, and none where the sensor has none", () => {
    const sky = uniformScene({ luminanceCdM2: 0 });
    const exposure = { exposureSeconds: 15, iso: 6400, fNumber: 2.8 };
    const brightSpots = (hotPixelCount: number, seed: string, code: number): number[] => {
      const frame = makeFramePicture({
        sky,
        exposure,
        sensor: { ...FULL_FRAME_SENSOR, hotPixelCount, widthMm: 3.6 },
        lens: { focalLengthMm: 16 },
        widthPx: 600,
        heightPx: 60,
        random: createRandom(seed),
      });
      const codes = [...frame.rgb];
      return codes.flatMap((value, index) => (value > code ? [Math.floor(index / 3)] : []));
    };
    const first = new Set(brightSpots(30, "a", 60));
    expect(first.size).toBeGreaterThan(10);
    for (const pixel of brightSpots(30, "b", 110)) expect(first.has(pixel)).toBe(true);
    expect(brightSpots(0, "a", 60)).toEqual([]);
  });

  it("dims and widens stars under dew and defocus", () => {
    const sky = starScene({
      stars: [{ azimuthDeg: 0, altitudeDeg: 45, magnitude: 2 }],
      luminanceCdM2: 1e-4,
    });
    const peak = (lens: { focusErrorUm?: number; dewShare?: number }): number => {
      const frame = makeFramePicture({
        sky,
        lens: { focalLengthMm: 16, isVignetting: false, starFwhmPx: 2, ...lens },
        exposure: { exposureSeconds: 1, iso: 1600, fNumber: 2.8 },
        widthPx: 600,
        heightPx: 400,
      });
      return channelOf(frame, 1).reduce((most, code) => Math.max(most, code), 0);
    };
    const sharp = peak({});
    expect(peak({ focusErrorUm: 600 })).toBeLessThan(0.8 * sharp);
    expect(peak({ dewShare: 0.8 })).toBeLessThan(0.6 * sharp);
  });

  it("hides the lower part behind dark land when the scene has any", () => {
    const place = { ...HUT_SEVEN, altitudeDeg: 20 };
    const sky = uniformScene({ luminanceCdM2: 5e-3, place, hasLand: true });
    const frame = makeFramePicture({ sky, widthPx: 240, heightPx: 160 });
    expect(frame.truth.skyShare).toBeGreaterThan(0.5);
    expect(frame.truth.skyShare).toBeLessThan(0.9);
    expect(frame.truth.meanSkyCdM2).toBeCloseTo(5e-3, 6);
    const green = channelOf(frame, 1);
    expect(Math.min(...green)).toBeLessThan(0.35 * meanCode(frame, 1));
  });

  it.each([
    [{ widthPx: 0 }],
    [{ heightPx: 2.5 }],
    [{ exposure: { exposureSeconds: 0, iso: 100, fNumber: 2.8 } }],
    [{ lens: { focalLengthMm: NaN } }],
  ])("refuses %j in one sentence", (options) => {
    expect(() => makeFramePicture(options)).toThrowError(
      expect.objectContaining({ code: "quantity.out_of_range" }) as Error,
    );
  });
});

it("what a renderer keeps between frames changes no bit of them", () => {
  const memory = createRenderMemory();
  const sizes = [
    { widthPx: 96, heightPx: 64 },
    { widthPx: 48, heightPx: 32 },
    { widthPx: 96, heightPx: 64 },
  ];
  for (const size of sizes) {
    const options = { sky: DEMO, openedUtcMs: BREAKUP_UTC_MS as UtcMs, ...size };
    const kept = makeFramePicture({ ...options, memory, random: createRandom("kept") });
    const fresh = makeFramePicture({ ...options, random: createRandom("kept") });
    expect(Buffer.from(kept.rgb).equals(Buffer.from(fresh.rgb))).toBe(true);
    expect(kept.truth).toEqual(fresh.truth);
  }
});
