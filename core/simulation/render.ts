import { stopsFromMidGrey, type Exposure } from "../exposure/exposure.ts";
import { NightError } from "../errors.ts";
import { createRandom, type Random } from "../random.ts";
import { RAD_PER_DEG, turnBetweenDeg } from "../sky/angles.ts";
import type { UtcMs } from "../units.ts";
import { skyMoment } from "./clearSky.ts";
import { COLOUR_MATRIX } from "./colour.ts";
import { silhouetteDeg, type Foreground, type HutWindow } from "./foreground.ts";
import {
  dewShareOf,
  LENS_TRANSMISSION,
  starFwhmPx,
  vignetting,
  type SimulatedLens,
} from "./lens.ts";
import { GRAIN_COUNT, grainTable } from "./noise.ts";
import {
  channelGrain,
  greenElectrons,
  linearPerCdM2,
  type ChannelGrain,
  type SimulatedSensor,
} from "./sensor.ts";
import type { SimulatedSky } from "./simulatedSky.ts";
import { gridLight, skyGrid, statisticsOf, type SkyGrid } from "./skyLight.ts";
import { drawMoon, drawStars } from "./starField.ts";
import {
  TONE_TABLE_COUNT,
  TONE_TABLE_FROM,
  TONE_TABLE_STEPS,
  toneTable,
  type ToneCurve,
} from "./toneCurve.ts";
import { directionAt, viewOf, type Direction, type View } from "./view.ts";

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
  /** How much of each pixel the land hides: 0 sky, `WATER`, up to 255. */
  readonly land: Uint8Array;
  /** Stars, Moon, window and hot pixels: linear light to add, three numbers a pixel. */
  readonly sprites: Float32Array;
  readonly window: LitPixels;
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
    window: windowPixels(view, sky.foreground),
  };
  if (known.size >= FRAMINGS_MAX) known.delete(known.keys().next().value!);
  known.set(key, framing);
  return framing;
}

/** Open water in the land mask: hides next to nothing, but is not counted as sky. */
const WATER = 1;

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
      if (seen[2] > highest) continue;
      if (seen[2] < -highest) {
        land[row * widthPx + column] = WATER;
        continue;
      }
      const altitudeDeg = Math.asin(seen[2]) / RAD_PER_DEG;
      const azimuthDeg = Math.atan2(seen[0], seen[1]) / RAD_PER_DEG;
      // In the lake the silhouette stands on its head.
      const above = altitudeDeg >= shoreDeg ? altitudeDeg : 2 * shoreDeg - altitudeDeg;
      const hiddenPx = (silhouetteDeg(foreground, azimuthDeg) - above) * RAD_PER_DEG * pxPerRad;
      const hidden = 255 * Math.min(1, Math.max(0, hiddenPx + 0.5));
      land[row * widthPx + column] = altitudeDeg < shoreDeg ? Math.max(WATER, hidden) : hidden;
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
  const lamp = sky.foreground?.window ?? null;
  if (lamp !== null) drawWindow(frame, lamp.luminanceCdM2, shade, perCdM2);
  drawHotPixels(options, frame);
}

/** Colour of lamplight at night's white balance, and how much of it the lake mirrors. */
const LAMP = [1.5, 0.9, 0.28] as const;
const LAMP_MIRRORED = 0.35;

/** Pixels that the hut's window lights, and how much of its luminance each of them sees. */
type LitPixels = { readonly pixels: Int32Array; readonly shares: Float32Array };

/** The window, its glow on the wall, and both in the lake. */
function windowPixels(view: View, foreground: Foreground | null): LitPixels {
  const pixels: number[] = [];
  const shares: number[] = [];
  const window = foreground?.window ?? null;
  if (foreground !== null && window !== null) {
    for (let row = 0; row < view.heightPx; row += 1) {
      for (let column = 0; column < view.widthPx; column += 1) {
        const seen = directionAt(view, column + 0.5, row + 0.5);
        if (Math.abs(seen[2]) > 0.08) continue;
        const share = windowShare(window, foreground.shoreDeg, seen, view.pxPerRad);
        if (share < 1e-5) continue;
        pixels.push(row * view.widthPx + column);
        shares.push(share);
      }
    }
  }
  return { pixels: Int32Array.from(pixels), shares: Float32Array.from(shares) };
}

function windowShare(
  window: HutWindow,
  shoreDeg: number,
  seen: Direction,
  pxPerRad: number,
): number {
  const azimuthDeg = Math.atan2(seen[0], seen[1]) / RAD_PER_DEG;
  const turned = Math.abs(turnBetweenDeg(window.azimuthDeg, azimuthDeg));
  if (turned > 3) return 0;
  const pxPerDeg = pxPerRad * RAD_PER_DEG;
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
  return (pane + glow) * (isMirrored ? LAMP_MIRRORED : 1);
}

function drawWindow(
  { view, sprites, window }: Framing,
  luminanceCdM2: number,
  shade: Float32Array,
  perCdM2: number,
): void {
  const { pixels, shares } = window;
  for (let index = 0; index < pixels.length; index += 1) {
    const pixel = pixels[index]!;
    const y = Math.floor(pixel / view.widthPx);
    const shaded = shadeAt(shade, view, pixel - y * view.widthPx + 0.5, y + 0.5);
    const scale = shares[index]! * luminanceCdM2 * perCdM2 * shaded;
    for (let channel = 0; channel < 3; channel += 1) {
      sprites[pixel * 3 + channel]! += scale * LAMP[channel]!;
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

let grainNumbers: Float32Array | null = null;

/** What every row of a frame is developed with. */
type Bath = {
  readonly widthPx: number;
  /** Linear light per cd/m², dew's loss included; and the land's own light. */
  readonly scale: number;
  readonly landLight: number;
  readonly shade: Float32Array;
  /** From the squared distance to the centre to a step of the shade table. */
  readonly shadePerSquare: number;
  readonly land: Uint8Array;
  readonly sprites: Float32Array;
  readonly grain: Float32Array;
  readonly red: ChannelGrain;
  readonly green: ChannelGrain;
  readonly blue: ChannelGrain;
  readonly tones: Uint8Array;
  readonly rgb: Uint8Array;
};

/** Pixels of open sky: how many, and how many are at the ceiling in each channel. */
type ClipCount = { skyPixels: number; red: number; green: number; blue: number };

const toneTables = new WeakMap<ToneCurve, Uint8Array>();

/** The table of a curve; kept, as making one costs a hundredth of a frame. */
function tonesOf(curve: ToneCurve): Uint8Array {
  const table = toneTables.get(curve) ?? toneTable(curve);
  toneTables.set(curve, table);
  return table;
}

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
): ClipCount {
  const { sky, exposure, lens, sensor, toneCurve, random } = options;
  const { view, grid, land, sprites } = frame;
  const { light, shade, meanCdM2, rgb } = parts;
  const { widthPx, heightPx } = view;
  grainNumbers ??= grainTable();
  const perCdM2 = linearPerCdM2(exposure);
  const transmission = lens.transmission ?? LENS_TRANSMISSION;
  const grainOf = (channel: "red" | "green" | "blue"): ChannelGrain =>
    channelGrain({ channel, exposure, transmission, sensor, pitchUm: view.pitchUm });
  const bath: Bath = {
    widthPx,
    scale: perCdM2 * (1 - 0.4 * dewShareOf(lens)),
    landLight: (sky.foreground?.albedo ?? 0) * meanCdM2 * perCdM2,
    shade,
    shadePerSquare: (4 * SHADE_STEPS) / (widthPx * widthPx + heightPx * heightPx),
    land,
    sprites,
    grain: grainNumbers,
    red: grainOf("red"),
    green: grainOf("green"),
    blue: grainOf("blue"),
    tones: tonesOf(toneCurve),
    rgb,
  };
  let upper = new Float32Array(widthPx * 3);
  let lower = new Float32Array(widthPx * 3);
  const clips: ClipCount = { skyPixels: 0, red: 0, green: 0, blue: 0 };
  let drawnRow = -1;
  for (let y = 0; y < heightPx; y += 1) {
    // Pixel centres lie half a pixel into the grid.
    const at = (y + 0.5) / grid.stepPx;
    const gridRow = Math.floor(at);
    if (gridRow !== drawnRow) {
      // The row below becomes the row above, but for the first of all.
      [upper, lower] = [lower, upper];
      if (drawnRow < 0) stretchRow(grid, light, gridRow, upper);
      stretchRow(grid, light, gridRow + 1, lower);
      drawnRow = gridRow;
    }
    const grainAt = random.integer(GRAIN_COUNT);
    const dy = y + 0.5 - heightPx / 2;
    developRow(bath, { upper, lower, part: at - gridRow, y, dy, grainAt }, clips);
  }
  return clips;
}

/** Develops one row: light, land, sprites, grain, full wells, colour matrix, tone. */
function developRow(
  bath: Bath,
  row: {
    readonly upper: Float32Array;
    readonly lower: Float32Array;
    readonly part: number;
    readonly y: number;
    readonly dy: number;
    readonly grainAt: number;
  },
  clips: ClipCount,
): void {
  const { widthPx, scale, landLight, shade, shadePerSquare, land, sprites, grain, tones, rgb } =
    bath;
  const { upper, lower, part, dy } = row;
  const [[rr, rg, rb], [gr, gg, gb], [br, bg, bb]] = COLOUR_MATRIX;
  const { perLight: shotR, floor: floorR } = bath.red;
  const { perLight: shotG, floor: floorG } = bath.green;
  const { perLight: shotB, floor: floorB } = bath.blue;
  // What red and blue hold beyond green's white is cut off, or the Moon would be pink.
  const fullR = Math.min(1, bath.red.ceiling);
  const fullG = Math.min(1, bath.green.ceiling);
  const fullB = Math.min(1, bath.blue.ceiling);
  const mask = GRAIN_COUNT - 1;
  const toneMask = TONE_TABLE_COUNT - 1;
  const toneZero = 0.5 - TONE_TABLE_FROM * TONE_TABLE_STEPS;
  const toneSteps = TONE_TABLE_STEPS;
  const middleX = widthPx / 2 - 0.5;
  let [skyPixels, clippedR, clippedG, clippedB] = [0, 0, 0, 0];
  let grainAt = row.grainAt;
  let pixel = row.y * widthPx;
  let index = pixel * 3;
  for (let x = 0, from = 0; x < widthPx; x += 1, from += 3, index += 3, pixel += 1) {
    const dx = x - middleX;
    const shaded = shade[((dx * dx + dy * dy) * shadePerSquare) | 0]!;
    const hidden = land[pixel]!;
    const lit = scale * shaded;
    let r = (upper[from]! + part * (lower[from]! - upper[from]!)) * lit;
    let g = (upper[from + 1]! + part * (lower[from + 1]! - upper[from + 1]!)) * lit;
    let b = (upper[from + 2]! + part * (lower[from + 2]! - upper[from + 2]!)) * lit;
    if (hidden > WATER) {
      const open = 1 - hidden * (1 / 255);
      const dark = landLight * (1 - open) * shaded;
      r = r * open + dark;
      g = g * open + dark;
      b = b * open + dark;
    }
    r += sprites[index]!;
    g += sprites[index + 1]!;
    b += sprites[index + 2]!;
    r += Math.sqrt(r * shotR + floorR) * grain[grainAt & mask]!;
    g += Math.sqrt(g * shotG + floorG) * grain[(grainAt + 1) & mask]!;
    b += Math.sqrt(b * shotB + floorB) * grain[(grainAt + 2) & mask]!;
    grainAt += 3;
    if (r > fullR) r = fullR;
    if (g > fullG) g = fullG;
    if (b > fullB) b = fullB;
    const codeR = tones[((rr * r + rg * g + rb * b) * toneSteps + toneZero) & toneMask]!;
    const codeG = tones[((gr * r + gg * g + gb * b) * toneSteps + toneZero) & toneMask]!;
    const codeB = tones[((br * r + bg * g + bb * b) * toneSteps + toneZero) & toneMask]!;
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
  clips.skyPixels += skyPixels;
  clips.red += clippedR;
  clips.green += clippedG;
  clips.blue += clippedB;
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
