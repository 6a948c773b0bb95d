import { describe, expect, test } from "vitest";
import { lightTable, startToneResponse } from "../../../core/photometry/response.ts";
import { encodeSrgb, linearOfCode } from "../../../core/photometry/srgb.ts";
import { findStars, type StarField } from "../../../core/photometry/starWidth.ts";
import { createRandom } from "../../../core/random.ts";
import { FULL_FRAME_SENSOR, renderFrame, TONE_CURVES } from "../../../core/simulation/render.ts";
import { SCENE_START_UTC_MS, starScene } from "../../support/scenes.ts";

const TABLE = lightTable(startToneResponse());
const WIDTH = 420;
const HEIGHT = 300;

type Drawing = {
  readonly fwhmPx: number;
  readonly noise?: number;
  readonly sky?: number;
  /** Averaged over each pixel, as a sensor does, or taken at its middle. */
  readonly isIntegrated?: boolean;
  /** Length of the trail, pixels. */
  readonly trailPx?: number;
  readonly count?: number;
  /** Scale of the stars' light. */
  readonly dim?: number;
};

/** Gaussian stars at random places, through sRGB into eight bits. */
function draw(drawing: Drawing): StarField {
  const { fwhmPx, noise = 0, sky = 0.15, isIntegrated = false, trailPx = 0 } = drawing;
  const { count = 45, dim = 1 } = drawing;
  const random = createRandom(`stars ${fwhmPx}`);
  const sigma = fwhmPx / 2.354820045;
  const light = new Float32Array(WIDTH * HEIGHT).fill(sky);
  const reach = Math.ceil(4 * sigma + trailPx + 2);
  const parts = isIntegrated ? 4 : 1;
  const steps = trailPx > 0 ? 12 : 1;
  for (let star = 0; star < count; star += 1) {
    const x = 30 + (WIDTH - 60) * random.uniform();
    const y = 30 + (HEIGHT - 60) * random.uniform();
    const peak = dim * (0.4 + 2 * random.uniform() ** 2);
    for (let py = Math.floor(y) - reach; py <= Math.floor(y) + reach; py += 1) {
      for (let px = Math.floor(x) - reach; px <= Math.floor(x) + reach; px += 1) {
        if (px < 0 || py < 0 || px >= WIDTH || py >= HEIGHT) continue;
        let value = 0;
        for (let step = 0; step < steps; step += 1) {
          const along = steps > 1 ? trailPx * (step / (steps - 1) - 0.5) : 0;
          for (let i = 0; i < parts; i += 1) {
            for (let j = 0; j < parts; j += 1) {
              const dx = px + (i + 0.5) / parts - 0.5 - x - along;
              const dy = py + (j + 0.5) / parts - 0.5 - y;
              value += Math.exp(-(dx * dx + dy * dy) / (2 * sigma * sigma));
            }
          }
        }
        light[py * WIDTH + px]! += (peak * value) / (parts * parts * steps);
      }
    }
  }
  const rgb = new Uint8Array(WIDTH * HEIGHT * 3);
  for (let at = 0; at < rgb.length; at += 1) {
    const value = light[Math.floor(at / 3)]!;
    const noisy = value + noise * Math.sqrt(value / sky) * random.normal();
    rgb[at] = Math.round(255 * encodeSrgb(Math.max(0, noisy) * linearOfCode(118)));
  }
  return findStars({ widthPx: WIDTH, heightPx: HEIGHT, rgb }, { table: TABLE });
}

describe("the width of stars", () => {
  for (const isIntegrated of [false, true]) {
    for (const noise of [0, 0.02, 0.05]) {
      test.each([1.5, 2, 3, 5, 8])(
        `of %f px is right within 10 % (${isIntegrated ? "averaged over pixels" : "taken at pixels"}, noise ${noise})`,
        (fwhmPx) => {
          const { widthPx } = draw({ fwhmPx, noise, isIntegrated });
          expect(widthPx).not.toBeNull();
          expect(Math.abs(widthPx! / fwhmPx - 1)).toBeLessThan(0.1);
        },
      );
    }
  }

  test("is the width across the trail when stars have trailed by 6 px", () => {
    const { widthPx, stars } = draw({ fwhmPx: 2.5, noise: 0.02, trailPx: 6 });
    expect(Math.abs(widthPx! / 2.5 - 1)).toBeLessThan(0.1);
    expect(stars[5]!.elongation).toBeGreaterThan(1.5);
  });

  test.each([1.5, 2.5, 4])(
    "of %f px is right within 10 % on a rendered picture of the sky with its tone curve and grain",
    (starFwhmPx) => {
      const random = createRandom("rendered stars");
      const sky = starScene({
        stars: Array.from({ length: 60 }, () => ({
          azimuthDeg: 360 * random.uniform(),
          altitudeDeg: 5 + 80 * random.uniform(),
          magnitude: 1 + 2 * random.uniform(),
        })).concat(
          Array.from({ length: 80 }, (_, index) => ({
            azimuthDeg: ((index % 10) - 5) * 6 + 360,
            altitudeDeg: 8 + 5 * Math.floor(index / 10),
            magnitude: 2 + 1.2 * random.uniform(),
          })),
        ),
      });
      const exposure = { exposureSeconds: 2, iso: 3200, fNumber: 2.8 };
      const { rgb, truth } = renderFrame({
        sky,
        openedUtcMs: SCENE_START_UTC_MS,
        exposure,
        widthPx: 600,
        heightPx: 400,
        lens: { focalLengthMm: 16, starFwhmPx },
        sensor: { ...FULL_FRAME_SENSOR, hotPixelCount: 0 },
        toneCurve: TONE_CURVES.mild,
        random,
      });
      const { widthPx } = findStars({ widthPx: 600, heightPx: 400, rgb }, { table: TABLE });
      expect(widthPx).not.toBeNull();
      expect(Math.abs(widthPx! / truth.starFwhmPx - 1)).toBeLessThan(0.1);
    },
  );
});

describe("finding stars", () => {
  test("finds at least 40 of 45 stars and nothing else in noise", () => {
    const { stars } = draw({ fwhmPx: 2.5, noise: 0.03 });
    expect(stars.length).toBeGreaterThanOrEqual(40);
    expect(stars.length).toBeLessThanOrEqual(47);
  });

  test("an even sky, noisy or not, holds no stars and has no width", () => {
    for (const noise of [0, 0.04]) {
      const field = draw({ fwhmPx: 2, count: 0, noise });
      expect(field.stars.length).toBeLessThan(5);
      expect(field.widthPx).toBeNull();
    }
  });

  test("four stars are too few for a width", () => {
    const field = draw({ fwhmPx: 2.5, count: 4 });
    expect(field.stars.length).toBe(4);
    expect(field.widthPx).toBeNull();
    expect(field.lightStops).toBeNull();
  });

  test("dew shows: stars twice as wide with half the light are measured as both", () => {
    const clear = draw({ fwhmPx: 2.5, noise: 0.01 });
    // The same light on four times the area would be a quarter of the peak; half of it an eighth.
    const dewy = draw({ fwhmPx: 5, noise: 0.01, dim: 1 / 8 });
    expect(dewy.widthPx! / clear.widthPx!).toBeGreaterThan(1.8);
    expect(dewy.lightStops! - clear.lightStops!).toBeLessThan(-0.6);
    expect(dewy.lightStops! - clear.lightStops!).toBeGreaterThan(-1.4);
  });

  test("leaves out stars in cells that are not sky", () => {
    const random = createRandom("masked");
    const rgb = new Uint8Array(90 * 60 * 3).fill(40);
    for (let star = 0; star < 20; star += 1) {
      const at = ((8 + random.integer(44)) * 90 + 8 + random.integer(74)) * 3;
      for (const step of [0, 3, 270, 273]) rgb.fill(200, at + step, at + step + 3);
    }
    const image = { widthPx: 90, heightPx: 60, rgb };
    const nowhere = new Uint8Array(45 * 30);
    expect(findStars(image, { table: TABLE }).stars.length).toBeGreaterThan(10);
    expect(findStars(image, { table: TABLE, isSky: nowhere }).stars).toHaveLength(0);
  });
});
