import type { CellGrid } from "./cells.ts";
import type { LightMap } from "../activity/lightMap.ts";
import { middleOf } from "../statistics.ts";

/** A compact light in the sky that is no aurora. */
export type BrightLight = {
  readonly kind: "moon" | "lamp";
  /** Middle, as shares of the frame's width and height. */
  readonly x: number;
  readonly y: number;
  readonly cells: number;
};

/** Cells this much brighter than the sky's mean may belong to such a light. */
const BRIGHT_FACTOR = 3.5;
/** The Moon with its bloom, or a lamp with its beam, covers no more of the frame. */
const SHARE_MAX = 0.04;
/** A blob of fewer cells is a point. */
const CELLS_MIN = 3;
/** Two cells off, a light has fallen to this share of its peak; twilight and glow fade slowly. */
const FALLEN_SHARE = 0.5;
/** Dusk and dawn lie along the horizon, so many times wider than high. */
const BAND_WIDTHS = 5;
/** Red over green: an aurora's green keeps below, moonlight and lamps above. */
const NEUTRAL_RATIO = 0.8;
/** The surroundings may be a little greener: an aurora can stand beside the Moon. */
const RIM_RATIO_MIN = 0.7;
const WARM_RATIO = 1.35;

/** What a light is compared with. */
type SkyScale = {
  /** Rough mean luminance of the sky. */
  readonly meanLight: number;
  /** Its red over green. */
  readonly redOverGreen: number;
  readonly degPerPx: number;
};

/**
 * Finds the Moon and lamps (a hut's window over the ridge, a torch that passes) and takes them and
 * their nearest halo out of the sky.
 *
 * Distinguished from aurora by colour (their surroundings are not green; a clipped curtain's core is white,
 * but its rim is green) and by shape (compact), and from each other by warmth and by position.
 *
 * @param isSky  One byte a cell, changed in place.
 */
export function leaveOutLights(
  isSky: Uint8Array,
  grid: CellGrid,
  light: LightMap,
  scale: SkyScale,
): readonly BrightLight[] {
  const { columns, rows, luminance } = light;
  const limit = Math.min(BRIGHT_FACTOR * scale.meanLight, BRIGHT_FACTOR * 1.2);
  const moonPixels = MOON_SHARE_CLIPPED * (Math.PI / 4) * (MOON_DEG / scale.degPerPx) ** 2;
  const seen = new Uint8Array(isSky.length);
  const found: BrightLight[] = [];
  for (let cell = 0; cell < isSky.length; cell += 1) {
    if (luminance[cell]! <= limit || seen[cell] === 1) continue;
    const blob = floodFrom(cell, light, limit, seen);
    // Bright stars and planets are as white or as warm, but points; they are left out as such.
    if (blob.length < CELLS_MIN || blob.length > SHARE_MAX * isSky.length) continue;
    if (!blob.some((member) => isSky[member] === 1)) continue;
    const kind = classify(blob, light, scale.redOverGreen);
    if (kind === null) continue;
    if (kind === "moon" && whitePixels(blob, grid) < Math.max(2, moonPixels)) continue;
    leaveOutWithHalo(blob, isSky, light);
    const middle = blob[blob.length >> 1]!;
    found.push({
      kind,
      x: ((middle % columns) + 0.5) / columns,
      y: (Math.floor(middle / columns) + 0.5) / rows,
      cells: blob.length,
    });
  }
  return found;
}

/** The Moon's width, and the area, in discs, that must be at the ceiling in every channel: it always blooms. */
const MOON_DEG = 0.5;
const MOON_SHARE_CLIPPED = 3;

function whitePixels(blob: readonly number[], grid: CellGrid): number {
  const read = blob.reduce((sum, cell) => sum + grid.clippedBlue[cell]!, 0);
  return (read * grid.cellPx ** 2) / grid.pixelsPerCell;
}

function floodFrom(start: number, light: LightMap, limit: number, seen: Uint8Array): number[] {
  const { columns, rows, luminance } = light;
  const blob = [start];
  seen[start] = 1;
  for (let index = 0; index < blob.length; index += 1) {
    const cell = blob[index]!;
    const column = cell % columns;
    const neighbours = [
      column > 0 ? cell - 1 : -1,
      column < columns - 1 ? cell + 1 : -1,
      cell - columns,
      cell + columns,
    ];
    for (const other of neighbours) {
      if (other < 0 || other >= columns * rows || seen[other] === 1) continue;
      if (luminance[other]! <= limit) continue;
      seen[other] = 1;
      blob.push(other);
    }
  }
  return blob;
}

function classify(
  blob: readonly number[],
  light: LightMap,
  skyRatio: number,
): BrightLight["kind"] | null {
  const box = boxOf(blob, light.columns);
  if (!standsOut(blob, box, light)) return null;
  const width = box.right - box.left + 1;
  const height = box.bottom - box.top + 1;
  const fill = blob.length / (width * height);
  const isCompact = fill > 0.5 && Math.max(width, height) <= 2.5 * Math.min(width, height);
  const isBand = width > BAND_WIDTHS * height;
  const core = ratioOf(blob, light);
  const rim = ratioOf(rimOf(box, light), light);
  // A lamp's beam may have any shape but a band's along the horizon, and is warm right through.
  if (core.redOverGreen > WARM_RATIO && !isBand) return "lamp";
  if (!isCompact || core.redOverGreen < NEUTRAL_RATIO) return null;
  // Around the Moon the sky is whiter than elsewhere; around a clipped curtain it is as green.
  if (rim.redOverGreen < Math.min(RIM_RATIO_MIN, (1 + skyRatio) / 2)) return null;
  return rim.redOverGreen > WARM_RATIO ? "lamp" : "moon";
}

/** Whether the light is gone a little way off its edge. */
function standsOut(blob: readonly number[], box: Box, { columns, rows, luminance }: LightMap) {
  const around = {
    left: box.left - 1,
    right: box.right + 1,
    top: box.top - 1,
    bottom: box.bottom + 1,
  };
  const ring = Float32Array.from(rimOf(around, { columns, rows }), (cell) => luminance[cell]!);
  const peak = blob.reduce((most, cell) => Math.max(most, luminance[cell]!), 0);
  return middleOf(ring)! <= FALLEN_SHARE * peak;
}

type Box = { left: number; right: number; top: number; bottom: number };

function boxOf(blob: readonly number[], columns: number): Box {
  const box = { left: Infinity, right: -1, top: Infinity, bottom: -1 };
  for (const cell of blob) {
    const column = cell % columns;
    const row = (cell - column) / columns;
    box.left = Math.min(box.left, column);
    box.right = Math.max(box.right, column);
    box.top = Math.min(box.top, row);
    box.bottom = Math.max(box.bottom, row);
  }
  return box;
}

/** The cells around a box. */
function rimOf(box: Box, { columns, rows }: Pick<LightMap, "columns" | "rows">): number[] {
  const rim: number[] = [];
  for (let row = Math.max(0, box.top - 1); row <= Math.min(rows - 1, box.bottom + 1); row += 1) {
    for (let x = Math.max(0, box.left - 1); x <= Math.min(columns - 1, box.right + 1); x += 1) {
      const isInside = row >= box.top && row <= box.bottom && x >= box.left && x <= box.right;
      if (!isInside) rim.push(row * columns + x);
    }
  }
  return rim;
}

function ratioOf(cells: readonly number[], light: LightMap): { redOverGreen: number } {
  let red = 0;
  let green = 0;
  for (const cell of cells) {
    red += light.red[cell]!;
    green += light.green[cell]!;
  }
  return { redOverGreen: (red + 1e-6) / (green + 1e-6) };
}

/** Cells around a light that its bloom still lifts. */
const HALO_CELLS = 3;

function leaveOutWithHalo(blob: readonly number[], isSky: Uint8Array, light: LightMap): void {
  const { columns, rows } = light;
  for (const cell of blob) {
    const column = cell % columns;
    const row = (cell - column) / columns;
    for (let y = Math.max(0, row - HALO_CELLS); y <= Math.min(rows - 1, row + HALO_CELLS); y += 1) {
      for (
        let x = Math.max(0, column - HALO_CELLS);
        x <= Math.min(columns - 1, column + HALO_CELLS);
        x += 1
      ) {
        isSky[y * columns + x] = 0;
      }
    }
  }
}
