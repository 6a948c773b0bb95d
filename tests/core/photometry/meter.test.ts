import { describe, expect, test } from "vitest";
import type { Exposure } from "../../../core/exposure/exposure.ts";
import {
  meterFrame,
  startMeter,
  type MeterOptions,
  type MeterState,
} from "../../../core/photometry/meter.ts";
import type { Reading } from "../../../core/photometry/reading.ts";
import { startToneResponse, type ToneResponse } from "../../../core/photometry/response.ts";
import { encodeSrgb, linearOfCode } from "../../../core/photometry/srgb.ts";
import { createRandom } from "../../../core/random.ts";
import { monotonicMs } from "../../../core/units.ts";
import { paintedSky, paintFrame, sRgbCurve, type PaintedSky } from "../../support/paintedSky.ts";

const OPTIONS: MeterOptions = { focalLengthMm: 16, pixelPitchUm: 6, fullWidthPx: 6000 };
const EXPOSURE: Exposure = { exposureSeconds: 8, iso: 1600, fNumber: 2.8 };
/** A camera whose curve is known to be sRGB. */
const SURE: ToneResponse = {
  ...startToneResponse(),
  uncertaintyStops: startToneResponse().uncertaintyStops.map(() => 0.01),
  isSure: true,
};
const WIDTH = 360;
const HEIGHT = 240;

type Paint = (x: number, y: number) => readonly [red: number, green: number, blue: number];

/** An image of linear light, 1 being mid-grey, through sRGB. */
function picture(paint: Paint, widthPx = WIDTH, heightPx = HEIGHT): Uint8Array {
  const rgb = new Uint8Array(widthPx * heightPx * 3);
  for (let y = 0, at = 0; y < heightPx; y += 1) {
    for (let x = 0; x < widthPx; x += 1) {
      for (const light of paint(x, y)) {
        rgb[at] = Math.round(255 * encodeSrgb(light * linearOfCode(118)));
        at += 1;
      }
    }
  }
  return rgb;
}

function meterAll(
  frames: readonly Uint8Array[],
  options: MeterOptions = OPTIONS,
  size: { widthPx: number; heightPx: number } = { widthPx: WIDTH, heightPx: HEIGHT },
): { reading: Reading; state: MeterState; course: readonly number[] } {
  const course: number[] = [];
  let state = startMeter(options, SURE);
  let reading: Reading | null = null;
  for (const [index, rgb] of frames.entries()) {
    const frame = { ...size, rgb, exposure: EXPOSURE, openedMs: monotonicMs(index * 12_000) };
    ({ reading, state } = meterFrame(state, frame));
    course.push(reading.skyStops);
  }
  return { reading: reading!, state, course };
}

const repeat = (count: number, paint: (index: number) => Paint): Uint8Array[] =>
  Array.from({ length: count }, (_, index) => picture(paint(index)));

/** Green sky with a bright band, darker toward the top. */
const aurora: Paint = (x, y) => {
  const light = 0.2 + 0.5 * Math.exp(-(((y - 100 - 10 * Math.sin(x / 40)) / 25) ** 2));
  return [light * 0.5, light, light * 0.6];
};
const GROUND_FROM = 190;
const ground: Paint = () => [0.008, 0.009, 0.01];
const withGround =
  (sky: Paint): Paint =>
  (x, y) =>
    y < GROUND_FROM + 4 * Math.sin(x / 17) ? sky(x, y) : ground(x, y);

/** Mean luminance in stops of what a picture shows above a row. */
function trueStops(paint: Paint, belowRow: number): number {
  let sum = 0;
  for (let y = 0; y < belowRow; y += 1) {
    for (let x = 0; x < WIDTH; x += 1) {
      const [red, green, blue] = paint(x, y);
      sum += 0.2126 * red + 0.7152 * green + 0.0722 * blue;
    }
  }
  return Math.log2(sum / (belowRow * WIDTH));
}

describe("linear light", () => {
  test.each([
    [16, -5.13],
    [64, -1.82],
    [118, 0],
    [192, 1.54],
  ])("an even grey of code %i is %f stops from mid-grey", (code, stops) => {
    const { reading } = meterAll([new Uint8Array(WIDTH * HEIGHT * 3).fill(code)]);
    expect(reading.skyStops).toBeCloseTo(stops, 1);
    expect(reading.skyStops).toBeCloseTo(Math.log2(linearOfCode(code) / linearOfCode(118)), 2);
    expect(reading.peakRatio).toBeCloseTo(1, 1);
  });

  test("half black, half code 188 means one stop under code 188, as light does and codes do not", () => {
    const rgb = picture((x) => (x < WIDTH / 2 ? [0, 0, 0] : [2.8, 2.8, 2.8]));
    // The halves stand side by side, so neither is ground.
    const { reading } = meterAll([rgb]);
    expect(reading.skyStops).toBeCloseTo(Math.log2(1.4), 1);
  });

  test("weighs channels as luminance: green alone at mid-grey is -0.48 stops", () => {
    const { reading } = meterAll([picture(() => [0, 1, 0])]);
    expect(reading.skyStops).toBeCloseTo(Math.log2(0.7152), 2);
  });

  test("a sky of many brightnesses is metered within 0.02 stop and its 99.5th percentile within 3 %", () => {
    const { reading } = meterAll([picture(aurora)]);
    const mean = trueStops(aurora, HEIGHT);
    expect(Math.abs(reading.skyStops - mean)).toBeLessThan(0.02);
    const peak = 0.2126 * 0.35 + 0.7152 * 0.7 + 0.0722 * 0.42;
    expect(reading.peakRatio / (peak / 2 ** mean)).toBeGreaterThan(0.97);
    expect(reading.peakRatio / (peak / 2 ** mean)).toBeLessThan(1.03);
  });

  test("luminance follows from the frame's own exposure: a stop more exposure, the same cd/m²", () => {
    const bright = { ...EXPOSURE, exposureSeconds: 16 };
    const at = (exposure: Exposure, light: number) =>
      meterFrame(startMeter(OPTIONS, SURE), {
        widthPx: WIDTH,
        heightPx: HEIGHT,
        rgb: picture(() => [light, light, light]),
        exposure,
        openedMs: monotonicMs(0),
      }).reading.skyLuminanceCdM2;
    expect(at(bright, 1) / at(EXPOSURE, 0.5)).toBeCloseTo(1, 1);
  });
});

describe("noise", () => {
  const noisy = (deviation: number): Reading => {
    const random = createRandom(`noise ${deviation}`);
    const light = () => Math.max(0, 0.3 * (1 + deviation * random.normal()));
    return meterAll([picture(() => [light(), light(), light()])]).reading;
  };

  test.each([
    [0.05, 0.01],
    [0.15, 0.02],
    [0.3, 0.035],
  ])("pixel noise of %f of the light moves the mean by less than %f stop", (deviation, stops) => {
    expect(Math.abs(noisy(deviation).skyStops - Math.log2(0.3))).toBeLessThan(stops);
  });

  test("when 8 × 8 pixels were averaged as codes by the decoder, noise of 0.15 costs 0.01 stop", () => {
    // What shrink-on-load does: codes, not light, are averaged before the meter sees them.
    const random = createRandom("shrunk");
    const rgb = new Uint8Array(WIDTH * HEIGHT * 3);
    for (let at = 0; at < rgb.length; at += 1) {
      let codes = 0;
      for (let k = 0; k < 64; k += 1) {
        const light = Math.max(0, 0.3 * (1 + 0.15 * random.normal()));
        codes += 255 * encodeSrgb(light * linearOfCode(118));
      }
      rgb[at] = Math.round(codes / 64);
    }
    const error = meterAll([rgb]).reading.skyStops - Math.log2(0.3);
    expect(error).toBeLessThan(0);
    expect(error).toBeGreaterThan(-0.015);
  });
});

describe("points of light", () => {
  const random = createRandom("stars");
  const points = new Map(
    Array.from({ length: 150 }, () => [
      random.integer(HEIGHT) * WIDTH + random.integer(WIDTH),
      0.5 + 5 * random.uniform(),
    ]),
  );

  test("150 stars and hot pixels move the mean by less than 0.02 stop", () => {
    const starry: Paint = (x, y) => {
      const star = points.get(y * WIDTH + x) ?? 0;
      const [red, green, blue] = aurora(x, y);
      return [red + star, green + star, blue + star];
    };
    const bare = meterAll([picture(aurora)]).reading;
    const { reading } = meterAll([picture(starry)]);
    expect(Math.abs(reading.skyStops - bare.skyStops)).toBeLessThan(0.02);
    expect(reading.peakRatio / bare.peakRatio).toBeCloseTo(1, 1);
  });

  test("counts stars and gives their width, but not pixels that stay where they are", () => {
    const draw = (shift: number): Uint8Array => {
      const light = new Float32Array(WIDTH * HEIGHT).fill(0.2);
      const place = createRandom("sky");
      for (let star = 0; star < 40; star += 1) {
        const x = 20 + 300 * place.uniform() + shift;
        const y = 20 + 200 * place.uniform();
        for (let dy = -4; dy <= 4; dy += 1) {
          for (let dx = -4; dx <= 4; dx += 1) {
            const [px, py] = [Math.floor(x) + dx, Math.floor(y) + dy];
            const distance = (px - x) ** 2 + (py - y) ** 2;
            light[py * WIDTH + px]! += 1.5 * Math.exp(-distance / 2 / 0.85 ** 2);
          }
        }
      }
      for (let hot = 0; hot < 25; hot += 1) {
        // The camera's own sharpening and JPEG spread a hot pixel over its neighbours.
        const at = (10 + 8 * hot) * WIDTH + 15 + 13 * hot;
        for (const [step, share] of [
          [0, 2],
          [1, 0.7],
          [-1, 0.7],
          [WIDTH, 0.7],
          [-WIDTH, 0.7],
        ] as const) {
          light[at + step]! += share;
        }
      }
      return picture((x, y) => {
        const value = light[y * WIDTH + x]!;
        return [value, value, value];
      });
    };
    // Stars drift by a third of a pixel a frame; the meter looks at them in every fourth.
    const first = meterAll([draw(0)]).reading;
    const { reading } = meterAll(Array.from({ length: 33 }, (_, index) => draw(index * 1.2)));
    expect(first.starCount).toBeGreaterThan(40);
    expect(reading.starCount).toBeGreaterThanOrEqual(34);
    expect(reading.starCount).toBeLessThanOrEqual(42);
    expect(Math.abs(reading.starWidthPx! / (2.3548 * 0.85) - 1)).toBeLessThan(0.1);
  });
});

describe("clipping", () => {
  test("is counted per channel, green first, as the green line saturates first", () => {
    const bright: Paint = (x) => (x < WIDTH / 4 ? [2.5, 6, 3] : [0.3, 0.6, 0.4]);
    const { reading } = meterAll([picture(bright)]);
    expect(reading.clippedShare.green).toBeCloseTo(0.25, 1);
    expect(reading.clippedShare.red).toBe(0);
    expect(reading.clippedShare.blue).toBe(0);
    expect(reading.remarks.join()).toMatch(/green clipped in 2\d % of the sky/);
    expect(reading.uncertaintyStops).toBeGreaterThan(
      meterAll([picture(aurora)]).reading.uncertaintyStops,
    );
  });

  test("of the ground does not count", () => {
    const lamp: Paint = (x, y) =>
      y > 210 && y < 230 && x > 100 && x < 140 ? [6, 6, 6] : withGround(aurora)(x, y);
    const { reading } = meterAll(repeat(8, () => lamp));
    expect(reading.clippedShare.green).toBe(0);
  });
});

describe("the sky, not the picture", () => {
  test("finds the ground by itself within 0.05 stop of the sky's own mean", () => {
    const { reading } = meterAll(repeat(8, () => withGround(aurora)));
    const truth = trueStops(aurora, GROUND_FROM - 6);
    expect(Math.abs(reading.skyStops - truth)).toBeLessThan(0.05);
    expect(reading.skyShare).toBeGreaterThan(0.72);
    expect(reading.skyShare).toBeLessThan(0.8);
    expect(reading.remarks).not.toContain("horizon not yet sure");
  });

  test("says that the horizon is not sure on the first frame, and doubts its reading more", () => {
    const first = meterAll(repeat(1, () => withGround(aurora))).reading;
    const later = meterAll(repeat(8, () => withGround(aurora))).reading;
    expect(first.remarks).toContain("horizon not yet sure");
    expect(first.uncertaintyStops).toBeGreaterThan(later.uncertaintyStops * 2);
  });

  test("takes the dark sky under an arc for sky", () => {
    const arc: Paint = (_, y) => {
      const light = y > 90 && y < 130 ? 0.9 : 0.12;
      return [light * 0.5, light, light * 0.6];
    };
    const { reading } = meterAll(repeat(8, () => arc));
    expect(reading.skyShare).toBeGreaterThan(0.95);
  });

  test.each([
    ["a lit window under the ridge", 196, 204],
    ["a lit hut that stands up into the sky", 184, 204],
  ])("is not pulled by %s", (_, top, bottom) => {
    const hut: Paint = (x, y) =>
      x > 200 && x < 214 && y > top && y < bottom ? [5, 2.4, 0.7] : withGround(aurora)(x, y);
    const dark = meterAll(repeat(8, () => withGround(aurora))).reading;
    const { reading } = meterAll(repeat(8, () => hut));
    expect(Math.abs(reading.skyStops - dark.skyStops)).toBeLessThan(0.03);
    expect(reading.peakRatio / dark.peakRatio).toBeLessThan(1.05);
  });

  test("is not pulled by a torch that sweeps the foreground and the lower sky for two frames", () => {
    const torch: Paint = (x, y) => {
      const [red, green, blue] = withGround(aurora)(x, y);
      const beam = 4 * Math.exp(-(((x - 90) / 14) ** 2) - ((y - 196) / 16) ** 2);
      return [red + 1.6 * beam, green + beam, blue + 0.5 * beam];
    };
    const dark = meterAll(repeat(8, () => withGround(aurora))).reading;
    const { reading } = meterAll(repeat(8, (index) => (index < 6 ? withGround(aurora) : torch)));
    expect(Math.abs(reading.skyStops - dark.skyStops)).toBeLessThan(0.05);
  });

  test("tells the Moon by its whiteness and shape, leaves it out and says so", () => {
    const moonlit: Paint = (x, y) => {
      const [red, green, blue] = aurora(x, y);
      const distance = Math.hypot(x - 260, y - 40);
      const glare = distance < 4 ? 20 : 3 * Math.exp(-distance / 4);
      return [red + glare, green + glare, blue + 0.95 * glare];
    };
    const { reading } = meterAll(repeat(4, () => moonlit));
    const bare = meterAll([picture(aurora)]).reading;
    expect(reading.remarks).toContain("moon in frame, left out");
    expect(Math.abs(reading.skyStops - bare.skyStops)).toBeLessThan(0.05);
  });

  test("does not take a clipped curtain for the Moon", () => {
    const flare: Paint = (x, y) => {
      const [red, green, blue] = aurora(x, y);
      const knot = 12 * Math.exp(-(((x - 180) / 9) ** 2) - ((y - 95) / 11) ** 2);
      return [red + 0.55 * knot, green + knot, blue + 0.6 * knot];
    };
    const { reading } = meterAll(repeat(4, () => flare));
    expect(reading.remarks.join()).not.toMatch(/moon|lamp/);
    expect(reading.clippedShare.green).toBeGreaterThan(0);
    expect(reading.peakRatio).toBeGreaterThan(2);
  });

  test("tells street glow by colour, position and steadiness, and leaves it out", () => {
    const town: Paint = (x, y) => {
      const [red, green, blue] = aurora(x, y);
      const dome = 4 * Math.exp(-(((x - 60) / 40) ** 2) - ((y - GROUND_FROM) / 30) ** 2);
      return withGround(() => [red + 1.5 * dome, green + 0.9 * dome, blue + 0.4 * dome])(x, y);
    };
    // A town is known by staying: a quarter of an hour of frames every 12 s, and twelve to fade.
    const frames = new Array<Uint8Array>(92).fill(picture(town));
    const first = meterAll(frames.slice(0, 1)).reading;
    const { reading, course } = meterAll(frames);
    const dark = meterAll(repeat(8, () => withGround(aurora))).reading;
    expect(first.remarks.join()).not.toMatch(/street glow/);
    expect(reading.remarks).toContain("street glow at the horizon, left out");
    // What is left is not the same patch of sky, but the town's light is out of it.
    const pull = (stops: number): number => Math.abs(stops - dark.skyStops);
    expect(pull(first.skyStops)).toBeGreaterThan(0.3);
    expect(pull(reading.skyStops)).toBeLessThan(0.5 * pull(first.skyStops));
    // No frame's reading falls by more than a tenth of all that is left out.
    const total = course[20]! - reading.skyStops;
    const steps = course.slice(21).map((stops, index) => course[index + 20]! - stops);
    expect(Math.max(...steps)).toBeLessThan(0.1 * total);
    // What was left out is in the doubt: it may have been sky.
    expect(reading.uncertaintyStops).toBeGreaterThan(0.3 * total);
  });

  test("twilight from beyond the frame's edge is sky, however long it stays", () => {
    // Warm, low, brightest at the left, darkened into the corner by the lens.
    const twilight: Paint = (x, y) => {
      const [red, green, blue] = aurora(x, y);
      const glow = 4 * Math.exp(-(((x - 15) / 90) ** 2) - ((y - GROUND_FROM) / 30) ** 2);
      return withGround(() => [red + 1.5 * glow, green + 0.9 * glow, blue + 0.4 * glow])(x, y);
    };
    const { reading } = meterAll(new Array<Uint8Array>(92).fill(picture(twilight)));
    expect(reading.remarks.join()).not.toMatch(/glow/);
  });

  test("a dome of light that sinks by half a stop in ten minutes is no town, and no frame jumps", () => {
    const sinking = (index: number): Paint =>
      withGround((x, y) => {
        const [red, green, blue] = aurora(x, y);
        const falling = 1.5 * 2 ** (-index / 20);
        const dome = falling * Math.exp(-(((x - 160) / 40) ** 2) - ((y - GROUND_FROM) / 30) ** 2);
        return [red + 1.5 * dome, green + 0.9 * dome, blue + 0.4 * dome];
      });
    // A picture a minute, shown five times.
    const pictures = repeat(18, sinking);
    const { course, reading } = meterAll(
      pictures.flatMap((one) => new Array<Uint8Array>(5).fill(one)),
    );
    expect(reading.remarks.join()).not.toMatch(/glow/);
    const steps = course.slice(6).map((stops, index) => Math.abs(stops - course[index + 5]!));
    expect(Math.max(...steps)).toBeLessThan(0.03);
  });

  test("rays side by side are sky, not stars: they stay in the mean and in the peak", () => {
    // Rays of two cells, of several brightnesses, on a third of the frame.
    const rays: Paint = (x, y) => {
      const inside = x > 100 && x < 220 && y > 40 && y < 110;
      const ridge = Math.max(0, Math.cos((2 * Math.PI * x) / 12)) ** 4;
      const ray = inside ? 2.5 * ridge * (0.6 + 0.4 * Math.cos(y / 6)) : 0;
      return [0.2 + 0.5 * ray, 0.2 + ray, 0.2 + 0.6 * ray];
    };
    let sum = 0;
    for (let y = 0; y < HEIGHT; y += 1) {
      for (let x = 0; x < WIDTH; x += 1) {
        const [red, green, blue] = rays(x, y);
        sum += 0.2126 * red + 0.7152 * green + 0.0722 * blue;
      }
    }
    const { reading } = meterAll([picture(rays)]);
    expect(Math.abs(reading.skyStops - Math.log2(sum / WIDTH / HEIGHT))).toBeLessThan(0.04);
  });

  test("red aurora high in the sky and dusk all along the horizon are sky", () => {
    const red: Paint = (_, y) => {
      const glow = 1 / (1 + Math.exp((y - 90) / 15));
      return [0.15 + 0.8 * glow, 0.2 + 0.15 * glow, 0.15 + 0.15 * glow];
    };
    const dusk: Paint = (_, y) => {
      const warm = Math.exp((y - HEIGHT) / 60);
      return [0.1 + warm, 0.1 + 0.7 * warm, 0.15 + 0.4 * warm];
    };
    for (const sky of [red, dusk]) {
      const { reading } = meterAll(repeat(6, () => sky));
      expect(reading.remarks.join()).not.toMatch(/glow|lamp|moon/);
      expect(reading.skyShare).toBeGreaterThan(0.95);
    }
  });

  test("a horizon drawn by hand replaces the found one, and a rectangle can be left out", () => {
    const byHand = {
      horizon: [
        { x: 0, y: 0.5 },
        { x: 1, y: 0.5 },
      ],
      leftOut: [
        [
          { x: 0, y: 0 },
          { x: 0.5, y: 0.5 },
        ] as const,
      ],
    };
    const options = { ...OPTIONS, skyMaskByHand: byHand };
    const { reading } = meterAll(
      repeat(2, () => withGround(aurora)),
      options,
    );
    expect(reading.skyShare).toBeCloseTo(0.25, 1);
  });
});

describe("any image has an answer", () => {
  test("black: the darkest light there is, doubted by stops, and a remark", () => {
    const { reading } = meterAll([new Uint8Array(WIDTH * HEIGHT * 3)]);
    expect(Number.isFinite(reading.skyStops)).toBe(true);
    expect(reading.skyStops).toBeLessThan(-9);
    expect(reading.uncertaintyStops).toBeGreaterThan(2);
    expect(reading.peakRatio).toBe(1);
    expect(reading.remarks).toContain("the frame is black");
  });

  test("white: the light of code 255, all channels clipped, doubted by a stop, and a remark", () => {
    const { reading } = meterAll([new Uint8Array(WIDTH * HEIGHT * 3).fill(255)]);
    expect(reading.skyStops).toBeCloseTo(Math.log2(1 / linearOfCode(118)), 2);
    expect(reading.clippedShare).toEqual({ red: 1, green: 1, blue: 1 });
    expect(reading.uncertaintyStops).toBeGreaterThanOrEqual(1);
    expect(reading.remarks.join()).toMatch(/white/);
  });

  test.each([
    [1, 1],
    [3, 2],
    [8, 6],
    [160, 1],
    [1, 160],
    [63, 47],
  ])("%i × %i pixels of code 118 are 0 stops", (widthPx, heightPx) => {
    const rgb = new Uint8Array(widthPx * heightPx * 3).fill(118);
    const { reading } = meterAll([rgb, rgb], OPTIONS, { widthPx, heightPx });
    expect(reading.skyStops).toBeCloseTo(0, 2);
    expect(reading.skyShare).toBe(1);
    expect(reading.motion.kind).toBe("unknown");
  });

  test("random pixels give finite numbers, whatever the size", () => {
    const random = createRandom("chaos");
    for (let round = 0; round < 20; round += 1) {
      const widthPx = 1 + random.integer(400);
      const heightPx = 1 + random.integer(120);
      const rgb = Uint8Array.from({ length: widthPx * heightPx * 3 }, () => random.integer(256));
      const { reading } = meterAll([rgb, rgb], OPTIONS, { widthPx, heightPx });
      expect(Number.isFinite(reading.skyStops)).toBe(true);
      expect(Number.isFinite(reading.uncertaintyStops)).toBe(true);
      expect(reading.peakRatio).toBeGreaterThanOrEqual(1);
      expect(reading.histogram).toHaveLength(64);
    }
  });

  test("a change of size in mid-night starts the places again and keeps the tone curve", () => {
    const { state } = meterAll(repeat(3, () => withGround(aurora)));
    const { state: next } = meterFrame(state, {
      widthPx: 120,
      heightPx: 80,
      rgb: new Uint8Array(120 * 80 * 3).fill(90),
      exposure: EXPOSURE,
      openedMs: monotonicMs(60_000),
    });
    expect(next.evidence?.frames).toBe(1);
    expect(next.response).toBe(state.response);
  });
});

describe("the tone curve through the meter", () => {
  test("is learned from the frames themselves: the same sky at different exposures comes to agree within 0.05 stop", () => {
    const random = createRandom("agree");
    const sky: PaintedSky = paintedSky(random, { widthPx: 180, heightPx: 120, degPerPx: 0.716 });
    const contrasty = (light: number): number => {
      const value = sRgbCurve(Math.min(light, 5.5));
      return value ** 1.7 / (value ** 1.7 + 0.9 * (1 - value) ** 1.7 + 1e-9);
    };
    let state = startMeter(OPTIONS);
    const errors: number[] = [];
    let remarks: readonly string[] = [];
    for (let index = 0; index < 40; index += 1) {
      const exposureStops = [-1.5, 0.3, -0.6, 1.1][index % 4]! + 0.3 * random.normal();
      const exposure = { ...EXPOSURE, exposureSeconds: 4 * 2 ** exposureStops };
      const { rgb, light } = paintFrame({
        sky,
        startSeconds: index * 10,
        exposure: EXPOSURE,
        exposureStops,
        curve: contrasty,
        random,
      });
      const openedMs = monotonicMs(index * 10_000);
      const result = meterFrame(state, { widthPx: 180, heightPx: 120, rgb, exposure, openedMs });
      state = result.state;
      remarks = result.reading.remarks;
      if (index === 0) expect(remarks).toContain("tone curve not yet sure");
      const mean = light.reduce((sum, value) => sum + value, 0) / light.length;
      errors.push(result.reading.skyStops - exposureStops - Math.log2(mean));
    }
    const spread = (from: number, to: number): number => {
      const part = errors.slice(from, to);
      return Math.max(...part) - Math.min(...part);
    };
    expect(spread(0, 8)).toBeGreaterThan(0.5);
    expect(spread(32, 40)).toBeLessThan(0.1);
    expect(remarks).not.toContain("tone curve not yet sure");
  });
});
