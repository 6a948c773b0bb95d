import type { Exposure } from "../exposure/exposure.ts";
import type { Random } from "../random.ts";
import { COLOUR_MATRIX } from "./colour.ts";
import { WATER, type FrameGeometry } from "./frameGeometry.ts";
import { dewShareOf, LENS_TRANSMISSION, type SimulatedLens } from "./lens.ts";
import { GRAIN_COUNT } from "./noise.ts";
import { tonesIn, type RenderMemory } from "./renderMemory.ts";
import { channelGrain, linearPerCdM2, type ChannelGrain, type SimulatedSensor } from "./sensor.ts";
import { shadeAt, type Shade } from "./shade.ts";
import {
  TONE_TABLE_COUNT,
  TONE_TABLE_FROM,
  TONE_TABLE_STEPS,
  type ToneCurve,
} from "./toneCurve.ts";

/** Light on its way to becoming a picture. */
type Undeveloped = {
  readonly geometry: FrameGeometry;
  /** What the filters see at the grid's points, three numbers a point, cd/m². */
  readonly light: Float32Array;
  readonly shade: Shade;
  /** The shade at the grid's points. */
  readonly gridShade: Float32Array;
  /** Luminance of the land, cd/m². */
  readonly landCdM2: number;
  readonly exposure: Exposure;
  readonly lens: SimulatedLens;
  readonly sensor: SimulatedSensor;
  readonly toneCurve: ToneCurve;
  readonly memory: RenderMemory;
  readonly random: Random;
};

/** Pixels of open sky at the ceiling in each channel. */
export type ClipCount = { red: number; green: number; blue: number };

/** The picture, and how much of its open sky has clipped. */
type Developed = { readonly rgb: Uint8Array; readonly clipped: ClipCount };

/** What every row of a frame is developed with. */
type Bath = {
  readonly geometry: FrameGeometry;
  readonly shade: Shade;
  /** The land's own linear light. */
  readonly landLight: number;
  readonly channels: readonly [red: ChannelGrain, green: ChannelGrain, blue: ChannelGrain];
  /** From linear light as the filters saw it to steps of the tone table, row by row. */
  readonly toTones: NineNumbers;
  readonly tones: Uint8Array;
  readonly grain: Float32Array;
  /** The row in work: linear light and the deviation of its grain, three numbers a pixel. */
  readonly light: Float64Array;
  readonly deviation: Float64Array;
  readonly rgb: Uint8Array;
};

// prettier-ignore
type NineNumbers = [number, number, number, number, number, number, number, number, number];

/** Share of the light that passes by the land, by what the land hides. */
const OPEN_SHARES = Float64Array.from({ length: 256 }, (_, hidden) =>
  hidden > WATER ? 1 - hidden * (1 / 255) : 1,
);

/** Both tables have a power of two for their length: a mask wraps an index around. */
const GRAIN_MASK = GRAIN_COUNT - 1;
const TONE_MASK = TONE_TABLE_COUNT - 1;

/** Step of the tone table at no light, with the half that rounds. */
const TONE_ZERO = 0.5 - TONE_TABLE_FROM * TONE_TABLE_STEPS;

/** Numbers of a lit grid's point: linear light in each channel, and the deviation of its grain. */
const PER_POINT = 6;

/** Turns light into codes, row by row; counts what clips in the open sky. */
export function develop(undeveloped: Undeveloped): Developed {
  const { geometry, random } = undeveloped;
  const { grid, view } = geometry;
  const bath = bathOf(undeveloped);
  const lit = litGrid(undeveloped, bath.channels);
  const perRow = grid.columns * PER_POINT;
  const line = new Float64Array(perRow);
  const clipped: ClipCount = { red: 0, green: 0, blue: 0 };
  for (let y = 0; y < view.heightPx; y += 1) {
    // Pixel centres lie half a pixel into the grid.
    const at = (y + 0.5) / grid.stepPx;
    const upper = Math.floor(at) * perRow;
    const part = at - Math.floor(at);
    for (let index = 0; index < perRow; index += 1) {
      const above = lit[upper + index]!;
      line[index] = above + part * (lit[upper + perRow + index]! - above);
    }
    developRow(bath, { line, y, grainAt: random.integer(GRAIN_COUNT) }, clipped);
  }
  return { rgb: bath.rgb, clipped };
}

function bathOf(undeveloped: Undeveloped): Bath {
  const { geometry, shade, landCdM2, exposure, lens, sensor, toneCurve, memory } = undeveloped;
  const { widthPx, heightPx, pitchUm } = geometry.view;
  const transmission = lens.transmission ?? LENS_TRANSMISSION;
  const grainOf = (channel: "red" | "green" | "blue"): ChannelGrain =>
    channelGrain({ channel, exposure, transmission, sensor, pitchUm });
  return {
    geometry,
    shade,
    landLight: landCdM2 * linearPerCdM2(exposure),
    channels: [grainOf("red"), grainOf("green"), grainOf("blue")],
    toTones: COLOUR_MATRIX.flat().map((weight) => weight * TONE_TABLE_STEPS) as NineNumbers,
    tones: tonesIn(memory, toneCurve),
    grain: memory.grain,
    light: new Float64Array(widthPx * 3),
    deviation: new Float64Array(widthPx * 3),
    rgb: new Uint8Array(widthPx * heightPx * 3),
  };
}

/**
 * Linear light at the grid's points and its grain's deviation. Light, shade and grain are smooth
 * from point to point, so what a pixel gets may be read off between them.
 */
function litGrid(undeveloped: Undeveloped, channels: Bath["channels"]): Float32Array {
  const { light, gridShade, exposure, lens } = undeveloped;
  const lit = new Float32Array(gridShade.length * PER_POINT);
  const scale = linearPerCdM2(exposure) * (1 - 0.4 * dewShareOf(lens));
  for (let channel = 0; channel < 3; channel += 1) {
    const { perLight, floor } = channels[channel]!;
    for (let point = 0; point < gridShade.length; point += 1) {
      const linear = light[point * 3 + channel]! * scale * gridShade[point]!;
      lit[point * PER_POINT + channel] = linear;
      lit[point * PER_POINT + 3 + channel] = Math.sqrt(linear * perLight + floor);
    }
  }
  return lit;
}

/** Develops one row: sky, land and sprites, grain, full wells, colour matrix, tone. */
function developRow(
  bath: Bath,
  row: { readonly line: Float64Array; readonly y: number; readonly grainAt: number },
  clipped: ClipCount,
): void {
  exposeSky(bath, row.line);
  exposeLand(bath, row.y);
  printRow(bath, row.y, row.grainAt, clipped);
}

/** Reads the sky's light, and the deviation of its grain, off between the points of the grid. */
function exposeSky({ geometry, light, deviation }: Bath, line: Float64Array): void {
  const { stepPx } = geometry.grid;
  const perPx = 1 / stepPx;
  for (let channel = 0; channel < 3; channel += 1) {
    let index = channel;
    for (let from = channel; index < light.length; from += PER_POINT) {
      const to = from + PER_POINT;
      const end = Math.min(light.length, index + 3 * stepPx);
      // Within a cell of the grid light changes evenly, and grain next to not at all.
      const step = (line[to]! - line[from]!) * perPx;
      const grain = 0.5 * (line[from + 3]! + line[to + 3]!);
      let here = line[from]! + 0.5 * step;
      for (; index < end; index += 3) {
        light[index] = here;
        deviation[index] = grain;
        here += step;
      }
    }
  }
}

/** Puts land before the sky and adds the light of stars, lamps and other sprites. */
function exposeLand(bath: Bath, y: number): void {
  const { geometry, shade, landLight, channels, light, deviation } = bath;
  const { land, sprites, view } = geometry;
  const start = y * view.widthPx;
  for (let x = 0; x < view.widthPx; x += 1) {
    const pixel = start + x;
    const open = OPEN_SHARES[land[pixel]!]!;
    if (open === 1 && sprites.isLit[pixel] === 0) continue;
    const dark = landLight * (1 - open) * shadeAt(shade, x + 0.5, y + 0.5);
    for (let channel = 0; channel < 3; channel += 1) {
      const { perLight, floor } = channels[channel]!;
      const index = x * 3 + channel;
      const here = light[index]! * open + dark + sprites.light[pixel * 3 + channel]!;
      light[index] = here;
      deviation[index] = Math.sqrt(here * perLight + floor);
    }
  }
}

/**
 * Adds the grain, cuts off what full wells cannot hold, and turns what is left into the picture's
 * codes; counts what clips in the open sky.
 */
function printRow(bath: Bath, y: number, grainAt: number, clipped: ClipCount): void {
  const { geometry, channels, toTones, tones, light, deviation, grain, rgb } = bath;
  const { land, view } = geometry;
  const [rr, rg, rb, gr, gg, gb, br, bg, bb] = toTones;
  // What red and blue hold beyond green's white is cut off, or the Moon would be pink.
  const [fullR, fullG, fullB] = [
    Math.min(1, channels[0].ceiling),
    Math.min(1, channels[1].ceiling),
    Math.min(1, channels[2].ceiling),
  ];
  const start = y * view.widthPx * 3;
  for (let index = 0, pixel = y * view.widthPx; index < light.length; index += 3, pixel += 1) {
    const at = grainAt + index;
    const r = light[index]! + deviation[index]! * grain[at & GRAIN_MASK]!;
    const g = light[index + 1]! + deviation[index + 1]! * grain[(at + 1) & GRAIN_MASK]!;
    const b = light[index + 2]! + deviation[index + 2]! * grain[(at + 2) & GRAIN_MASK]!;
    const red = r > fullR ? fullR : r;
    const green = g > fullG ? fullG : g;
    const blue = b > fullB ? fullB : b;
    const codeR = tones[(rr * red + rg * green + rb * blue + TONE_ZERO) & TONE_MASK]!;
    const codeG = tones[(gr * red + gg * green + gb * blue + TONE_ZERO) & TONE_MASK]!;
    const codeB = tones[(br * red + bg * green + bb * blue + TONE_ZERO) & TONE_MASK]!;
    rgb[start + index] = codeR;
    rgb[start + index + 1] = codeG;
    rgb[start + index + 2] = codeB;
    if (land[pixel] !== 0) continue;
    if (codeR === 255) clipped.red += 1;
    if (codeG === 255) clipped.green += 1;
    if (codeB === 255) clipped.blue += 1;
  }
}
