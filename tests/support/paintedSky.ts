import type { Exposure } from "../../core/exposure/exposure.ts";
import { encodeSrgb, linearOfCode } from "../../core/photometry/srgb.ts";
import type { Random } from "../../core/random.ts";

/**
 * A painted sky for the meter's tests: drifting curtains over a plain sky, seen through a wide lens
 * and a camera's tone curve. Plain and fast; the program's own simulation is not used here, so
 * that the meter is not tested against its own ideas.
 */
export type PaintedSky = {
  readonly widthPx: number;
  readonly heightPx: number;
  /** Degrees that one pixel covers on the axis. */
  readonly degPerPx: number;
  /** Light of the plain sky, relative to mid-grey at `exposureStops` 0. */
  readonly base: (seconds: number) => number;
  /** Light of the curtains over the plain sky's, at their brightest. */
  readonly contrast: (seconds: number) => number;
  /** Angular speed of the curtains toward the right, degrees a second. */
  readonly driftDegPerSecond: number;
  /** Share of the frame, from the bottom, that is dark ground. */
  readonly groundShare: number;
  /** Relative noise of a pixel at mid-grey. */
  readonly noise: number;
  readonly stars: readonly Star[];
  /** Light of the colour channels relative to green. */
  readonly tint: readonly [number, number, number];
  readonly texture: Texture;
};

export type Star = { readonly x: number; readonly y: number; readonly light: number };

export type Texture = { readonly size: number; readonly values: Float32Array };

/** What the camera makes of light (1 = mid-grey): the encoded value 0..1. */
export type ToneCurve = (light: number) => number;

const MID_GREY = linearOfCode(118);

export const sRgbCurve: ToneCurve = (light) => encodeSrgb(light * MID_GREY);

/** Curtain-like structure: tall, narrow folds over broad bands; 0..1, periodic. */
export function paintTexture(random: Random, size = 128, narrow = 1): Texture {
  const waves = Array.from({ length: 40 }, (_, index) => {
    const scale = 1 + 11 * narrow * (index / 40);
    return {
      kx: Math.round(scale * (0.5 + random.uniform())) || 1,
      ky: Math.round((scale / 3) * (random.uniform() * 2 - 1)),
      phase: random.uniform() * 2 * Math.PI,
      height: 1 / Math.sqrt(scale),
    };
  });
  const values = new Float32Array(size * size);
  let low = Infinity;
  let high = -Infinity;
  const cosines = Float32Array.from({ length: 4096 }, (_, step) => Math.cos(step / FINE));
  for (let y = 0; y < size; y += 1) {
    for (let x = 0; x < size; x += 1) {
      let value = 0;
      for (const { kx, ky, phase, height } of waves) {
        const turn = (2 * Math.PI * (kx * x + ky * y)) / size + phase;
        value += height * cosines[Math.round(turn * FINE) & 4095]!;
      }
      values[y * size + x] = value;
      low = Math.min(low, value);
      high = Math.max(high, value);
    }
  }
  for (let index = 0; index < values.length; index += 1) {
    values[index] = ((values[index]! - low) / (high - low)) ** 2;
  }
  return { size, values };
}

/** Steps of the cosine table to a radian. */
const FINE = 4096 / (2 * Math.PI);

function textureAt({ size, values }: Texture, u: number, v: number): number {
  const x = ((u % 1) + 1) * size;
  const y = ((v % 1) + 1) * size;
  const x0 = Math.floor(x);
  const y0 = Math.floor(y);
  const fx = x - x0;
  const fy = y - y0;
  const at = (i: number, j: number): number => values[(j % size) * size + (i % size)]!;
  return (
    (at(x0, y0) * (1 - fx) + at(x0 + 1, y0) * fx) * (1 - fy) +
    (at(x0, y0 + 1) * (1 - fx) + at(x0 + 1, y0 + 1) * fx) * fy
  );
}

export function paintedSky(random: Random, changes: Partial<PaintedSky> = {}): PaintedSky {
  return {
    widthPx: 480,
    heightPx: 320,
    degPerPx: 0.2686, // 16 mm on 36 mm, 480 px across
    base: () => 0.3,
    contrast: () => 2,
    driftDegPerSecond: 0.05,
    groundShare: 0,
    noise: 0.05,
    stars: [],
    tint: [0.6, 1, 0.7],
    texture: paintTexture(random),
    ...changes,
  };
}

/** Degrees of azimuth that the texture spans before it repeats. */
const TEXTURE_DEG = 120;

/** Light of the sky alone, relative to mid-grey at exposure stops 0, integrated over the exposure. */
function paintLight(sky: PaintedSky, startSeconds: number, exposureSeconds: number) {
  const { widthPx, heightPx, degPerPx } = sky;
  const focalPx = 1 / Math.tan((degPerPx * Math.PI) / 180);
  const light = new Float32Array(widthPx * heightPx);
  const travelDeg = sky.driftDegPerSecond * exposureSeconds;
  const samples = Math.min(24, Math.max(2, Math.ceil(travelDeg / (degPerPx * 1.5))));
  const horizon = heightPx * (1 - sky.groundShare);
  for (let sample = 0; sample < samples; sample += 1) {
    const seconds = startSeconds + ((sample + 0.5) / samples) * exposureSeconds;
    const base = sky.base(seconds) / samples;
    const contrast = sky.contrast(seconds);
    const turnDeg = sky.driftDegPerSecond * seconds;
    for (let y = 0; y < heightPx; y += 1) {
      const isGround = y >= horizon;
      for (let x = 0; x < widthPx; x += 1) {
        const pixel = y * widthPx + x;
        if (isGround) {
          light[pixel]! += base * 0.04;
          continue;
        }
        const dx = (x - widthPx / 2) / focalPx;
        const dy = (heightPx / 2 - y) / focalPx;
        const azimuth = (Math.atan(dx) * 180) / Math.PI;
        const altitude = (Math.atan(dy / Math.hypot(1, dx)) * 180) / Math.PI;
        const curtain = textureAt(
          sky.texture,
          (azimuth - turnDeg) / TEXTURE_DEG + 3,
          altitude / TEXTURE_DEG + 3,
        );
        light[pixel]! += base * (1 + contrast * curtain);
      }
    }
  }
  return light;
}

/** The frame that a camera gives of it. */
export function paintFrame(options: {
  sky: PaintedSky;
  startSeconds: number;
  exposure: Exposure;
  /** Stops by which this exposure lies over the one at which `base` is given. */
  exposureStops: number;
  curve: ToneCurve;
  random: Random;
  starShiftPx?: number;
}): { rgb: Uint8Array; light: Float32Array } {
  const { sky, exposure, exposureStops, curve, random } = options;
  const light = paintLight(sky, options.startSeconds, exposure.exposureSeconds);
  const gain = 2 ** exposureStops;
  const withStars = Float32Array.from(light);
  for (const star of sky.stars) {
    const x = Math.floor(star.x + (options.starShiftPx ?? 0));
    const y = Math.floor(star.y);
    if (x >= 0 && x < sky.widthPx && y >= 0 && y < sky.heightPx) {
      withStars[y * sky.widthPx + x]! += star.light;
    }
  }
  const codes = codeTable(curve);
  const rgb = new Uint8Array(light.length * 3);
  for (let pixel = 0; pixel < light.length; pixel += 1) {
    for (let channel = 0; channel < 3; channel += 1) {
      const clean = withStars[pixel]! * gain * sky.tint[channel]!;
      const noisy = clean + sky.noise * Math.sqrt(Math.max(clean, 0.02)) * random.normal();
      rgb[pixel * 3 + channel] = Math.floor(codeOf(codes, noisy) + random.uniform());
    }
  }
  return { rgb, light };
}

const TABLE_STEP = 1 / 512;
const TABLE_TOP = 6;

function codeTable(curve: ToneCurve): Float32Array {
  return Float32Array.from({ length: TABLE_TOP / TABLE_STEP + 2 }, (_, index) =>
    Math.min(255, Math.max(0, 255 * curve(index * TABLE_STEP))),
  );
}

function codeOf(codes: Float32Array, light: number): number {
  const at = Math.min(TABLE_TOP, Math.max(0, light)) / TABLE_STEP;
  const index = Math.floor(at);
  // 254.999: the dither above must not reach 256.
  return Math.min(254.999, codes[index]! + (codes[index + 1]! - codes[index]!) * (at - index));
}
