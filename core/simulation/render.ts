import { stopsFromMidGrey, type Exposure } from "../exposure/exposure.ts";
import { NightError } from "../errors.ts";
import { createRandom, type Random } from "../random.ts";
import { RAD_PER_DEG } from "../sky/angles.ts";
import type { UtcMs } from "../units.ts";
import { skyMoment } from "./clearSky.ts";
import { COLOUR_MATRIX } from "./colour.ts";
import { silhouetteDeg, type Foreground } from "./foreground.ts";
import {
  dewShareOf,
  LENS_TRANSMISSION,
  starFwhmPx,
  vignetting,
  type SimulatedLens,
} from "./lens.ts";
import { GRAIN_COUNT, grainTable } from "./noise.ts";
import { channelGrain, greenElectrons, linearPerCdM2, type SimulatedSensor } from "./sensor.ts";
import type { SimulatedSky } from "./simulatedSky.ts";
import { gridLight, skyGrid, statisticsOf, type SkyGrid } from "./skyLight.ts";
import { drawMoon, drawStars } from "./starField.ts";
import { TONE_TABLE_STEPS, toneTable, type ToneCurve } from "./toneCurve.ts";
import { directionAt, viewOf, type View } from "./view.ts";

export type { SimulatedLens } from "./lens.ts";
export { FULL_FRAME_SENSOR, type SimulatedSensor } from "./sensor.ts";
export { TONE_CURVES, type ToneCurve, type ToneCurveName } from "./toneCurve.ts";

/** What is true of a rendered frame, whatever the picture shows. */
export type FrameTruth = {
  /** Mean luminance of the open sky over the exposure, cd/m²; without stars, the Moon's disc, vignetting. */
  readonly meanSkyCdM2: number;
  /** The same as stops from mid-grey at the frame's exposure, before tone curve and clipping. */
  readonly meanSkyStops: number;
  /** With the lens's darkening toward the corners, as the picture records it. */
  readonly recordedSkyStops: number;
  /** 99.5th percentile over the mean of the open sky's luminance, ≥ 1. */
  readonly peakRatio: number;
  /** Share of the open sky's pixels whose wells are full or whose code is 255, per channel. */
  readonly clippedShare: { readonly red: number; readonly green: number; readonly blue: number };
  /** Share of the picture that is open sky, 0..1. */
  readonly skyShare: number;
  /** Electrons in one of the sensor's own green pixels from the mean sky, on axis. */
  readonly greenElectrons: number;
  /** Full width at half maximum of a still star, pixels of the picture. */
  readonly starFwhmPx: number;
};

export type RenderOptions = {
  readonly sky: SimulatedSky;
  /** Opening of the shutter. */
  readonly openedUtcMs: UtcMs;
  readonly exposure: Exposure;
  /** Of the picture; any size shows the same field, a smaller one with less grain. */
  readonly widthPx: number;
  readonly heightPx: number;
  readonly lens: SimulatedLens;
  readonly sensor: SimulatedSensor;
  readonly toneCurve: ToneCurve;
  /** Draws the grain; the same stream in the same state gives the same bits. */
  readonly random: Random;
};

/** A rendered frame. */
export type RenderedFrame = {
  /** Interleaved, rows from the top; widthPx · heightPx · 3. */
  readonly rgb: Uint8Array;
  readonly truth: FrameTruth;
};

/**
 * The picture that a camera would take of a simulated sky.
 *
 * Light is integrated over the exposure, so stars trail and curtains smear; it becomes electrons
 * with shot, read and dark noise, fills wells channel by channel, and is rendered by white
 * balance, colour matrix and tone curve to 8 bits.
 *
 * @throws NightError `quantity.out_of_range` for a picture without pixels or an exposure that is
 *   none.
 * Sources: see the parts; mid-grey 10 / S and saturation 78 / S lux-seconds by ISO 12232, the lens
 * by ISO 2720 (q = 0.65).
 */
export function renderFrame(options: RenderOptions): RenderedFrame {
  checkOptions(options);
  const { sky, openedUtcMs, exposure, widthPx, heightPx, lens, sensor } = options;
  const frame = framingOf(options);
  const light = gridLight(sky, frame.grid, openedUtcMs, exposure.exposureSeconds);
  const framed = statisticsOf(frame.grid, light);
  if (dewShareOf(lens) > 0) addVeil(light, framed.meanCdM2 * 0.6 * dewShareOf(lens));
  const shade = shadeTable(lens, exposure.fNumber, frame.view);
  const sprites = frame.sprites;
  sprites.fill(0);
  drawSprites(options, frame, shade);
  const rgb = new Uint8Array(widthPx * heightPx * 3);
  const clipped = develop(options, frame, { light, shade, meanCdM2: framed.meanCdM2, rgb });
  const transmission = lens.transmission ?? LENS_TRANSMISSION;
  const skyPixels = Math.max(1, clipped.skyPixels);
  const recorded = framed.meanCdM2 * meanShade(frame.grid, light, shade, frame.view);
  return {
    rgb,
    truth: {
      meanSkyCdM2: framed.meanCdM2,
      meanSkyStops: stopsFromMidGrey(framed.meanCdM2, exposure),
      recordedSkyStops: stopsFromMidGrey(recorded, exposure),
      peakRatio: framed.peakRatio,
      clippedShare: {
        red: clipped.red / skyPixels,
        green: clipped.green / skyPixels,
        blue: clipped.blue / skyPixels,
      },
      skyShare: clipped.skyPixels / (widthPx * heightPx),
      greenElectrons: greenElectrons({
        luminanceCdM2: framed.meanCdM2,
        exposure,
        transmission,
        sensor,
      }),
      starFwhmPx: starFwhmPx(lens, exposure.fNumber, frame.view.pitchUm),
    },
  };
}

function checkOptions({ widthPx, heightPx, exposure, lens }: RenderOptions): void {
  const isPicture = Number.isInteger(widthPx) && Number.isInteger(heightPx);
  if (!isPicture || widthPx < 8 || heightPx < 8 || widthPx * heightPx > 6e7) {
    throw new NightError("quantity.out_of_range", "a picture needs 8 pixels each way at least", {
      widthPx,
      heightPx,
    });
  }
  const { exposureSeconds, iso, fNumber } = exposure;
  if (!(exposureSeconds > 0 && exposureSeconds <= 3600 && iso > 0 && fNumber > 0)) {
    throw new NightError("quantity.out_of_range", "an exposure needs time, ISO and f-number", {
      ...exposure,
    });
  }
  if (!(lens.focalLengthMm > 0)) {
    throw new NightError("quantity.out_of_range", "a lens needs a focal length", { ...lens });
  }
}

/** What stays the same from frame to frame: the geometry, and room to work in. */
type Framing = {
  readonly view: View;
  readonly grid: SkyGrid;
  /** How much of each pixel the land hides, 0..255. */
  readonly land: Uint8Array;
  /** Stars, Moon, window and hot pixels: linear light to add, three numbers a pixel. */
  readonly sprites: Float32Array;
};

/** Pixels between the points at which the sky is worked out: fine enough for rays, cheap enough. */
function gridStepPx(widthPx: number): number {
  return Math.min(8, Math.max(1, Math.round(widthPx / 560)));
}

/**
 * Framings by sky. Preparing one takes longer than a frame, and a camera on a tripod uses one all
 * night; the answer is the same with and without.
 */
const framings = new WeakMap<SimulatedSky, Map<string, Framing>>();

/** Framings kept for one sky: a preview and a few sizes besides. */
const FRAMINGS_MAX = 3;

function framingOf({ sky, widthPx, heightPx, lens, sensor }: RenderOptions): Framing {
  const key = [widthPx, heightPx, lens.focalLengthMm, sensor.widthMm].join("/");
  const known = framings.get(sky) ?? new Map<string, Framing>();
  framings.set(sky, known);
  const found = known.get(key);
  if (found !== undefined) return found;
  const view = viewOf({
    centre: sky.place,
    focalLengthMm: lens.focalLengthMm,
    sensorWidthMm: sensor.widthMm,
    widthPx,
    heightPx,
  });
  const framing: Framing = {
    view,
    grid: skyGrid(sky, view, gridStepPx(widthPx)),
    land: landMask(view, sky.foreground),
    sprites: new Float32Array(widthPx * heightPx * 3),
  };
  if (known.size >= FRAMINGS_MAX) known.delete(known.keys().next().value!);
  known.set(key, framing);
  return framing;
}

/** No silhouette reaches higher than this, degrees. */
const LAND_MAX_DEG = 14;

function landMask(view: View, foreground: Foreground | null): Uint8Array {
  const { widthPx, heightPx, pxPerRad } = view;
  const land = new Uint8Array(widthPx * heightPx);
  if (foreground === null) return land;
  const { shoreDeg } = foreground;
  const highest = Math.sin(LAND_MAX_DEG * RAD_PER_DEG);
  for (let row = 0; row < heightPx; row += 1) {
    for (let column = 0; column < widthPx; column += 1) {
      const seen = directionAt(view, column + 0.5, row + 0.5);
      if (Math.abs(seen[2]) > highest) continue;
      const altitudeDeg = Math.asin(seen[2]) / RAD_PER_DEG;
      const azimuthDeg = Math.atan2(seen[0], seen[1]) / RAD_PER_DEG;
      // In the lake the silhouette stands on its head.
      const above = altitudeDeg >= shoreDeg ? altitudeDeg : 2 * shoreDeg - altitudeDeg;
      const hiddenPx = (silhouetteDeg(foreground, azimuthDeg) - above) * RAD_PER_DEG * pxPerRad;
      land[row * widthPx + column] = 255 * Math.min(1, Math.max(0, hiddenPx + 0.5));
    }
  }
  return land;
}

/** Steps of the table of shades over the squared distance from the centre. */
const SHADE_STEPS = 1024;

/** Light by squared distance from the centre, 0 .. the corner. */
function shadeTable(lens: SimulatedLens, fNumber: number, view: View): Float32Array {
  const cornerMm = (Math.hypot(view.widthPx, view.heightPx) / 2) * (view.pitchUm / 1000);
  return Float32Array.from({ length: SHADE_STEPS + 2 }, (_, index) =>
    vignetting(lens, fNumber, cornerMm * Math.sqrt(index / SHADE_STEPS)),
  );
}

function shadeAt(shade: Float32Array, view: View, x: number, y: number): number {
  const [dx, dy] = [x - view.widthPx / 2, y - view.heightPx / 2];
  const corner = (view.widthPx * view.widthPx + view.heightPx * view.heightPx) / 4;
  return shade[Math.min(SHADE_STEPS, ((dx * dx + dy * dy) / corner) * SHADE_STEPS) | 0]!;
}

/** Mean shade of the open sky, weighted by its light. */
function meanShade(grid: SkyGrid, light: Float32Array, shade: Float32Array, view: View): number {
  let [sum, total] = [0, 0];
  for (let row = 0; row < grid.rows; row += 1) {
    for (let column = 0; column < grid.columns; column += 1) {
      const point = row * grid.columns + column;
      if (grid.isSky[point] === 0) continue;
      const here = light[point * 3 + 1]!;
      sum += here * shadeAt(shade, view, column * grid.stepPx, row * grid.stepPx);
      total += here;
    }
  }
  return total > 0 ? sum / total : 1;
}

function addVeil(light: Float32Array, luminanceCdM2: number): void {
  for (let index = 0; index < light.length; index += 1) light[index]! += luminanceCdM2;
}

/** Draws what is smaller than the grid into the sprites, as linear light. */
function drawSprites(options: RenderOptions, frame: Framing, shade: Float32Array): void {
  const { sky, openedUtcMs, exposure, lens } = options;
  const { view, land, sprites } = frame;
  const perCdM2 = linearPerCdM2(exposure);
  const { widthPx } = view;
  const sink = (pixel: number, red: number, green: number, blue: number): void => {
    const open = 1 - land[pixel]! / 255;
    if (open <= 0) return;
    const y = Math.floor(pixel / widthPx);
    const scale = perCdM2 * open * shadeAt(shade, view, pixel - y * widthPx + 0.5, y + 0.5);
    sprites[pixel * 3]! += red * scale;
    sprites[pixel * 3 + 1]! += green * scale;
    sprites[pixel * 3 + 2]! += blue * scale;
  };
  const { exposureSeconds } = exposure;
  drawStars({
    sky,
    view,
    openedUtcMs,
    seconds: exposureSeconds,
    fwhmPx: starFwhmPx(lens, exposure.fNumber, view.pitchUm),
    strength: 1 - 0.7 * dewShareOf(lens),
    sink,
  });
  if (sky.clear?.hasMoon === true) {
    const moment = skyMoment(sky.place, (openedUtcMs + exposureSeconds * 500) as UtcMs);
    drawMoon({ sky, view, moment, sink });
  }
  if (sky.foreground !== null) drawWindow(frame, sky.foreground, shade, perCdM2);
  drawHotPixels(options, frame);
}

/** Colour of lamplight at night's white balance, and how much of it the lake mirrors. */
const LAMP = [1.5, 0.9, 0.28] as const;
const LAMP_MIRRORED = 0.35;

function drawWindow(
  { view, sprites }: Framing,
  foreground: Foreground,
  shade: Float32Array,
  perCdM2: number,
): void {
  const { window, shoreDeg } = foreground;
  if (window === null) return;
  const { widthPx, heightPx, pxPerRad } = view;
  const pxPerDeg = pxPerRad * RAD_PER_DEG;
  for (let row = 0; row < heightPx; row += 1) {
    const middle = directionAt(view, widthPx / 2, row + 0.5);
    if (Math.abs(middle[2]) > 0.2) continue;
    for (let column = 0; column < widthPx; column += 1) {
      const seen = directionAt(view, column + 0.5, row + 0.5);
      const azimuthDeg = Math.atan2(seen[0], seen[1]) / RAD_PER_DEG;
      const turned = Math.abs(((azimuthDeg - window.azimuthDeg + 540) % 360) - 180);
      if (turned > 2) continue;
      const altitudeDeg = Math.asin(seen[2]) / RAD_PER_DEG;
      const isMirrored = altitudeDeg < shoreDeg;
      const above = isMirrored ? 2 * shoreDeg - altitudeDeg : altitudeDeg;
      // Ripples draw the mirrored window out into a streak.
      const heightDeg = isMirrored ? window.heightDeg * 3 : window.heightDeg;
      const offset = Math.abs(above - window.altitudeDeg - (isMirrored ? window.heightDeg : 0));
      const across = (window.widthDeg / 2 - turned) * pxPerDeg + 0.5;
      const upright = (heightDeg / 2 - offset) * pxPerDeg + 0.5;
      const pane = Math.min(1, Math.max(0, across)) * Math.min(1, Math.max(0, upright));
      const distance = Math.hypot(turned, isMirrored ? offset / 2 : offset);
      const glow = 0.012 * Math.exp(-distance / 0.35) + 0.002 * Math.exp(-distance / 0.9);
      const share = (pane + glow) * (isMirrored ? LAMP_MIRRORED : 1);
      const pixel = row * widthPx + column;
      const scale =
        share * window.luminanceCdM2 * perCdM2 * shadeAt(shade, view, column + 0.5, row + 0.5);
      for (let channel = 0; channel < 3; channel += 1) {
        sprites[pixel * 3 + channel]! += scale * LAMP[channel]!;
      }
    }
  }
}

/** Hot pixels: where they are comes from the sensor's seed, how bright from the time. */
function drawHotPixels(options: RenderOptions, { view, sprites }: Framing): void {
  const { sensor, exposure, lens } = options;
  const random = createRandom(`hot pixels ${sensor.hotPixelSeed}`);
  const channels = ["red", "green", "blue"] as const;
  for (let index = 0; index < sensor.hotPixelCount; index += 1) {
    const x = Math.floor(random.uniform() * view.widthPx);
    const y = Math.floor(random.uniform() * view.heightPx);
    const channel = random.integer(3);
    const electronsPerSecond = 8 * Math.exp(1.6 * random.normal());
    const grain = channelGrain({
      channel: channels[channel]!,
      exposure,
      transmission: lens.transmission ?? LENS_TRANSMISSION,
      sensor,
      pitchUm: view.pitchUm,
    });
    const electrons = electronsPerSecond * exposure.exposureSeconds;
    sprites[(y * view.widthPx + x) * 3 + channel]! +=
      (electrons * grain.perElectron) / grain.pixelCount;
  }
}

let grain: Float32Array | null = null;

/** Turns light into codes, row by row; counts what clips in the open sky. */
function develop(
  options: RenderOptions,
  frame: Framing,
  parts: {
    readonly light: Float32Array;
    readonly shade: Float32Array;
    readonly meanCdM2: number;
    readonly rgb: Uint8Array;
  },
): { red: number; green: number; blue: number; skyPixels: number } {
  const { sky, exposure, lens, sensor, toneCurve, random } = options;
  const { view, grid, land, sprites } = frame;
  const { light, shade, meanCdM2, rgb } = parts;
  const { widthPx, heightPx } = view;
  const table = (grain ??= grainTable());
  const tones = toneTable(toneCurve);
  const perCdM2 = linearPerCdM2(exposure);
  const transmission = lens.transmission ?? LENS_TRANSMISSION;
  const grainOf = (channel: "red" | "green" | "blue"): ReturnType<typeof channelGrain> =>
    channelGrain({ channel, exposure, transmission, sensor, pitchUm: view.pitchUm });
  const [red, green, blue] = [grainOf("red"), grainOf("green"), grainOf("blue")];
  const { perLight: shotR, floor: floorR, ceiling: fullR } = red;
  const { perLight: shotG, floor: floorG, ceiling: fullG } = green;
  const { perLight: shotB, floor: floorB, ceiling: fullB } = blue;
  const [[rr, rg, rb], [gr, gg, gb], [br, bg, bb]] = COLOUR_MATRIX;
  const landLight = (sky.foreground?.albedo ?? 0) * meanCdM2 * perCdM2;
  const dew = 1 - 0.4 * dewShareOf(lens);
  const scale = perCdM2 * dew;
  const corner = (widthPx * widthPx + heightPx * heightPx) / 4;
  const perSquare = SHADE_STEPS / corner;
  const upper = new Float32Array(widthPx * 3);
  const lower = new Float32Array(widthPx * 3);
  let drawnRow = -1;
  let [clippedR, clippedG, clippedB, skyPixels] = [0, 0, 0, 0];

  for (let y = 0; y < heightPx; y += 1) {
    // Pixel centres lie half a pixel into the grid.
    const at = (y + 0.5) / grid.stepPx;
    const gridRow = Math.floor(at);
    if (gridRow !== drawnRow) {
      stretchRow(grid, light, gridRow, upper);
      stretchRow(grid, light, gridRow + 1, lower);
      drawnRow = gridRow;
    }
    const part = at - gridRow;
    const dy = y + 0.5 - heightPx / 2;
    let grainAt = random.integer(GRAIN_COUNT);
    let index = y * widthPx * 3;
    for (let x = 0; x < widthPx; x += 1, index += 3) {
      const dx = x + 0.5 - widthPx / 2;
      const shaded = scale * shade[((dx * dx + dy * dy) * perSquare) | 0]!;
      const hidden = land[y * widthPx + x]!;
      const from = x * 3;
      let r = (upper[from]! + part * (lower[from]! - upper[from]!)) * shaded;
      let g = (upper[from + 1]! + part * (lower[from + 1]! - upper[from + 1]!)) * shaded;
      let b = (upper[from + 2]! + part * (lower[from + 2]! - upper[from + 2]!)) * shaded;
      if (hidden > 0) {
        const open = 1 - hidden / 255;
        const dark = (landLight * (1 - open) * shaded) / scale;
        r = r * open + dark;
        g = g * open + dark;
        b = b * open + dark;
      }
      r += sprites[index]!;
      g += sprites[index + 1]!;
      b += sprites[index + 2]!;
      r += Math.sqrt(r * shotR + floorR) * table[grainAt & (GRAIN_COUNT - 1)]!;
      g += Math.sqrt(g * shotG + floorG) * table[(grainAt + 1) & (GRAIN_COUNT - 1)]!;
      b += Math.sqrt(b * shotB + floorB) * table[(grainAt + 2) & (GRAIN_COUNT - 1)]!;
      grainAt += 3;
      if (r > fullR) r = fullR;
      if (g > fullG) g = fullG;
      if (b > fullB) b = fullB;
      const outR = rr * r + rg * g + rb * b;
      const outG = gr * r + gg * g + gb * b;
      const outB = br * r + bg * g + bb * b;
      const codeR = toneOf(tones, outR);
      const codeG = toneOf(tones, outG);
      const codeB = toneOf(tones, outB);
      rgb[index] = codeR;
      rgb[index + 1] = codeG;
      rgb[index + 2] = codeB;
      if (hidden === 0) {
        skyPixels += 1;
        if (codeR === 255) clippedR += 1;
        if (codeG === 255) clippedG += 1;
        if (codeB === 255) clippedB += 1;
      }
    }
  }
  return { red: clippedR, green: clippedG, blue: clippedB, skyPixels };
}

function toneOf(tones: Uint8Array, linear: number): number {
  if (linear <= 0) return tones[0]!;
  if (linear >= 1) return tones[TONE_TABLE_STEPS]!;
  return tones[(linear * TONE_TABLE_STEPS + 0.5) | 0]!;
}

/** One row of the grid drawn out to the picture's width. */
function stretchRow(grid: SkyGrid, light: Float32Array, row: number, into: Float32Array): void {
  const widthPx = into.length / 3;
  const base = Math.min(row, grid.rows - 1) * grid.columns * 3;
  for (let x = 0; x < widthPx; x += 1) {
    const at = (x + 0.5) / grid.stepPx;
    const column = at | 0;
    const part = at - column;
    const from = base + column * 3;
    const to = x * 3;
    into[to] = light[from]! + part * (light[from + 3]! - light[from]!);
    into[to + 1] = light[from + 1]! + part * (light[from + 4]! - light[from + 1]!);
    into[to + 2] = light[from + 2]! + part * (light[from + 5]! - light[from + 2]!);
  }
}
