import { planesOf, type CellGrid } from "./cells.ts";
import { TABLE_STEPS } from "./response.ts";
import { LUMINANCE_WEIGHTS } from "./srgb.ts";
import type { LightMap } from "../activity/lightMap.ts";

/**
 * Undoes the tone curve of a grid's mean codes, each channel by itself.
 *
 * @param table  The light of every eighth of a code, from `lightTable`.
 * Accuracy: within a cell, codes are averaged before the curve is undone. For pixel noise of a
 * relative deviation s this reads low by about 0.4 s² stop, which is made good here with the
 * frame's measured noise.
 */
export function lightMapOf(grid: CellGrid, table: Float32Array): LightMap {
  const count = grid.columns * grid.rows;
  const [red, green, blue] = planesOf(new Float32Array(3 * count), count);
  const luminance = new Float32Array(count);
  const { red: wr, green: wg, blue: wb } = LUMINANCE_WEIGHTS;
  const lift = noiseLift(table, grid.noiseVariance);
  for (let cell = 0; cell < count; cell += 1) {
    const redCode = grid.red[cell]!;
    const greenCode = grid.green[cell]!;
    const blueCode = grid.blue[cell]!;
    const r = table[(redCode * TABLE_STEPS + 0.5) | 0]! + lift[redCode | 0]!;
    const g = table[(greenCode * TABLE_STEPS + 0.5) | 0]! + lift[greenCode | 0]!;
    const b = table[(blueCode * TABLE_STEPS + 0.5) | 0]! + lift[blueCode | 0]!;
    red[cell] = r;
    green[cell] = g;
    blue[cell] = b;
    luminance[cell] = wr * r + wg * g + wb * b;
  }
  return { columns: grid.columns, rows: grid.rows, red, green, blue, luminance };
}

/**
 * What the mean light of noisy codes exceeds the light of their mean by, for each whole code:
 * ½ light″ · variance, light″ by differences over ± 8 codes.
 */
function noiseLift(table: Float32Array, noiseVariance: number): Float32Array {
  const lift = new Float32Array(256);
  for (let code = 8; code <= 247; code += 1) {
    const here = table[code * TABLE_STEPS]!;
    const around = table[(code - 8) * TABLE_STEPS]! + table[(code + 8) * TABLE_STEPS]!;
    const second = (around - 2 * here) / 64;
    // Under the noise the toe is no longer a parabola; half the light itself is the most it can hide.
    lift[code] = Math.min(0.5 * Math.max(0, second) * noiseVariance, 0.5 * here);
  }
  return lift;
}

/**
 * Marks cells that a star, a hot pixel or another point of light lifts above their surroundings:
 * brighter than the ring around them, and not part of a line or band that runs through.
 *
 * @returns One byte a cell, 1 where marked.
 */
export function findPointCells(map: LightMap): Uint8Array {
  const { columns, rows, luminance } = map;
  const marked = new Uint8Array(columns * rows);
  const down = 2 * columns;
  for (let row = 2; row < rows - 2; row += 1) {
    const end = row * columns + columns - 2;
    for (let cell = row * columns + 2; cell < end; cell += 1) {
      const here = luminance[cell]!;
      const left = luminance[cell - 2]!;
      const right = luminance[cell + 2]!;
      const above = luminance[cell - down]!;
      const below = luminance[cell + down]!;
      // Almost every cell leaves here.
      if (here * 4 <= POINT_FACTOR * (left + right + above + below)) continue;
      const half = here / POINT_FACTOR;
      const isBand =
        (left > half && right > half) ||
        (above > half && below > half) ||
        (luminance[cell - down - 2]! > half && luminance[cell + down + 2]! > half) ||
        (luminance[cell - down + 2]! > half && luminance[cell + down - 2]! > half);
      if (!isBand) marked[cell] = 1;
    }
  }
  keepCrowds(marked, columns, rows);
  return marked;
}

/** Reach of the neighbourhood in which points are counted, cells each way. */
const CROWD_REACH = 4;
/** So many marked cells of 81 are no stars: a bright field of them marks three or four. */
const CROWD_CELLS = 8;

/**
 * Takes the marks off where many stand together: rays, whose ridges look like points one by one.
 * Leaving them out would leave out the brightest of the sky.
 */
function keepCrowds(marked: Uint8Array, columns: number, rows: number): void {
  const across = new Uint8Array(marked.length);
  for (let row = 0; row < rows; row += 1) {
    const base = row * columns;
    let count = 0;
    for (let ahead = 0; ahead < columns + CROWD_REACH; ahead += 1) {
      if (ahead < columns) count += marked[base + ahead]!;
      if (ahead > 2 * CROWD_REACH) count -= marked[base + ahead - 2 * CROWD_REACH - 1]!;
      if (ahead >= CROWD_REACH) across[base + ahead - CROWD_REACH] = count;
    }
  }
  const counts = new Uint16Array(columns);
  const add = (row: number, sign: 1 | -1): void => {
    if (row < 0 || row >= rows) return;
    for (let column = 0; column < columns; column += 1) {
      counts[column]! += sign * across[row * columns + column]!;
    }
  };
  for (let row = 0; row < CROWD_REACH; row += 1) add(row, 1);
  for (let row = 0; row < rows; row += 1) {
    add(row + CROWD_REACH, 1);
    add(row - CROWD_REACH - 1, -1);
    for (let column = 0; column < columns; column += 1) {
      if (counts[column]! > CROWD_CELLS) marked[row * columns + column] = 0;
    }
  }
}

/** A cell this much brighter than its ring holds a point of light. */
const POINT_FACTOR = 1.12;
