import type { Exposure } from "../exposure/exposure.ts";
import type { Random } from "../random.ts";
import { COLOUR_MATRIX } from "./colour.ts";
import { WATER, type FrameGeometry } from "./frameGeometry.ts";
import { dewShareOf, LENS_TRANSMISSION, type SimulatedLens } from "./lens.ts";
import { GRAIN_COUNT, grainTable } from "./noise.ts";
import { channelGrain, linearPerCdM2, type ChannelGrain, type SimulatedSensor } from "./sensor.ts";
import { shadeAt, type Shade } from "./shade.ts";
import {
  TONE_TABLE_COUNT,
  TONE_TABLE_FROM,
  TONE_TABLE_STEPS,
  toneTable,
  type ToneCurve,
} from "./toneCurve.ts";

/** Light on its way to becoming a picture. */
export type Undeveloped = {
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
  readonly random: Random;
};

/** Pixels of open sky at the ceiling in each channel. */
export type ClipCount = { red: number; green: number; blue: number };

/** The picture, and how much of its open sky has clipped. */
export type Developed = { readonly rgb: Uint8Array; readonly clipped: ClipCount };

/** What every row of a frame is developed with. */
type Bath = {
  readonly geometry: FrameGeometry;
  readonly shade: Shade;
  /** The land's own linear light. */
  readonly landLight: number;
  readonly channels: readonly [red: ChannelGrain, green: ChannelGrain, blue: ChannelGrain];
  /** From linear light as the filters saw it to steps of the tone table, row by row. */
  readonly toTones: readonly number[];
  readonly tones: Uint8Array;
  readonly grain: Float32Array;
  readonly rgb: Uint8Array;
};

/** Numbers of a lit grid's point: linear light in each channel, and the deviation of its grain. */
const PER_POINT = 6;

let grainNumbers: Float32Array | null = null;
const toneTables = new WeakMap<ToneCurve, Uint8Array>();

/** The table of a curve; kept, as making one costs a hundredth of a frame. */
function tonesOf(curve: ToneCurve): Uint8Array {
  const table = toneTables.get(curve) ?? toneTable(curve);
  toneTables.set(curve, table);
  return table;
}

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
  const { geometry, shade, landCdM2, exposure, lens, sensor, toneCurve } = undeveloped;
  const { widthPx, heightPx, pitchUm } = geometry.view;
  const transmission = lens.transmission ?? LENS_TRANSMISSION;
  const grainOf = (channel: "red" | "green" | "blue"): ChannelGrain =>
    channelGrain({ channel, exposure, transmission, sensor, pitchUm });
  grainNumbers ??= grainTable();
  return {
    geometry,
    shade,
    landLight: landCdM2 * linearPerCdM2(exposure),
    channels: [grainOf("red"), grainOf("green"), grainOf("blue")],
    toTones: COLOUR_MATRIX.flat().map((weight) => weight * TONE_TABLE_STEPS),
    tones: tonesOf(toneCurve),
    grain: grainNumbers,
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

/** Develops one row: light, land, sprites, grain, full wells, colour matrix, tone. */
function developRow(
  bath: Bath,
  row: { readonly line: Float64Array; readonly y: number; readonly grainAt: number },
  clipped: ClipCount,
): void {
  const { geometry, shade, landLight, toTones, tones, grain, rgb } = bath;
  const { view, grid, land, sprites } = geometry;
  const { light: spriteLight, isLit } = sprites;
  const { widthPx } = view;
  const { stepPx } = grid;
  const perPx = 1 / stepPx;
  const { line, y } = row;
  const [red, green, blue] = bath.channels;
  const [rr, rg, rb, gr, gg, gb, br, bg, bb] = toTones as [
    number,
    number,
    number,
    number,
    number,
    number,
    number,
    number,
    number,
  ];
  // What red and blue hold beyond green's white is cut off, or the Moon would be pink.
  const fullR = Math.min(1, red.ceiling);
  const fullG = Math.min(1, green.ceiling);
  const fullB = Math.min(1, blue.ceiling);
  const mask = GRAIN_COUNT - 1;
  const toneMask = TONE_TABLE_COUNT - 1;
  const toneZero = 0.5 - TONE_TABLE_FROM * TONE_TABLE_STEPS;
  let [clippedR, clippedG, clippedB] = [0, 0, 0];
  let grainAt = row.grainAt;
  let pixel = y * widthPx;
  let index = pixel * 3;
  let x = 0;
  for (let from = 0; x < widthPx; from += PER_POINT) {
    const to = from + PER_POINT;
    const end = Math.min(widthPx, x + stepPx);
    // Within a cell of the grid light changes evenly, and grain next to not at all.
    const stepR = (line[to]! - line[from]!) * perPx;
    const stepG = (line[to + 1]! - line[from + 1]!) * perPx;
    const stepB = (line[to + 2]! - line[from + 2]!) * perPx;
    let skyR = line[from]! + 0.5 * stepR;
    let skyG = line[from + 1]! + 0.5 * stepG;
    let skyB = line[from + 2]! + 0.5 * stepB;
    const skyGrainR = 0.5 * (line[from + 3]! + line[to + 3]!);
    const skyGrainG = 0.5 * (line[from + 4]! + line[to + 4]!);
    const skyGrainB = 0.5 * (line[from + 5]! + line[to + 5]!);
    for (; x < end; x += 1, pixel += 1, index += 3, grainAt += 3) {
      let r = skyR;
      let g = skyG;
      let b = skyB;
      let grainR = skyGrainR;
      let grainG = skyGrainG;
      let grainB = skyGrainB;
      const hidden = land[pixel]!;
      if (hidden > WATER || isLit[pixel] !== 0) {
        const open = hidden > WATER ? 1 - hidden * (1 / 255) : 1;
        const dark = landLight * (1 - open) * shadeAt(shade, x + 0.5, y + 0.5);
        r = r * open + dark + spriteLight[index]!;
        g = g * open + dark + spriteLight[index + 1]!;
        b = b * open + dark + spriteLight[index + 2]!;
        grainR = Math.sqrt(r * red.perLight + red.floor);
        grainG = Math.sqrt(g * green.perLight + green.floor);
        grainB = Math.sqrt(b * blue.perLight + blue.floor);
      }
      r += grainR * grain[grainAt & mask]!;
      g += grainG * grain[(grainAt + 1) & mask]!;
      b += grainB * grain[(grainAt + 2) & mask]!;
      if (r > fullR) r = fullR;
      if (g > fullG) g = fullG;
      if (b > fullB) b = fullB;
      const codeR = tones[(rr * r + rg * g + rb * b + toneZero) & toneMask]!;
      const codeG = tones[(gr * r + gg * g + gb * b + toneZero) & toneMask]!;
      const codeB = tones[(br * r + bg * g + bb * b + toneZero) & toneMask]!;
      rgb[index] = codeR;
      rgb[index + 1] = codeG;
      rgb[index + 2] = codeB;
      if (codeR === 255 && hidden === 0) clippedR += 1;
      if (codeG === 255 && hidden === 0) clippedG += 1;
      if (codeB === 255 && hidden === 0) clippedB += 1;
      skyR += stepR;
      skyG += stepG;
      skyB += stepB;
    }
  }
  clipped.red += clippedR;
  clipped.green += clippedG;
  clipped.blue += clippedB;
}
