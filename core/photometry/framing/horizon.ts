import { atan2Deg } from "../../sky/angles.ts";
import { middleOf } from "../../statistics.ts";
import type { LightGrid, Horizon } from "./lightGrid.ts";

/** Light below counts as this much darker at the most, so that black land does not outweigh all, stops. */
const STEP_STOPS_MAX = 3;

/** The land must be darker than the sky just above it by this, stops. */
const STEP_STOPS_MIN = 0.35;

/** Cost of a jump of the line by one cell between neighbouring columns, stops. */
const JUMP_COST = 0.12;

/** Light that the darkest codes cannot tell from black. */
const FLOOR = 2e-4;

/**
 * The horizon of a night frame: the strongest fall from bright to dark along one line from left to
 * right, by dynamic programming; its tilt by the median of slopes, so that trees and hills do not
 * matter.
 *
 * Sources: Bellman 1957 for the line; Theil 1950 and Sen 1968 for the slope.
 */
export function findHorizon(grid: LightGrid): Horizon {
  const { columns, rows } = grid;
  if (columns < 16 || rows < 16) return { kind: "unknown", why: "the frame is too small" };
  const steps = stepsOf(grid);
  const line = strongestLine(steps, columns, rows);
  const strengths = line.map((row, column) => steps[row * columns + column]!);
  if ((middleOf(strengths) ?? 0) < STEP_STOPS_MIN) {
    return { kind: "unknown", why: "no land darker than the sky is in the frame" };
  }
  const slope = medianSlope(line);
  const middle = middleOf(line.map((row, column) => row - slope * (column - columns / 2))) ?? 0;
  const distances = line.map((row, column) =>
    Math.abs(row - middle - slope * (column - columns / 2)),
  );
  return {
    kind: "found",
    tiltDeg: atan2Deg(slope, 1),
    y: middle / rows,
    roughness: (middleOf(distances) ?? 0) / rows,
    rows: line,
  };
}

/** For every cell, how much darker it gets here: mean above less mean below, stops. */
function stepsOf({ columns, rows, luminance }: LightGrid): Float32Array {
  const reach = Math.max(2, Math.round(rows * 0.05));
  const steps = new Float32Array(columns * rows);
  const logs = Float32Array.from(luminance, (light) => Math.log2(light + FLOOR));
  for (let column = 0; column < columns; column += 1) {
    const sums = new Float64Array(rows + 1);
    for (let row = 0; row < rows; row += 1) {
      sums[row + 1] = sums[row]! + logs[row * columns + column]!;
    }
    for (let row = reach; row <= rows - 2; row += 1) {
      const low = Math.min(rows, row + reach);
      const above = (sums[row]! - sums[row - reach]!) / reach;
      const below = (sums[low]! - sums[row]!) / (low - row);
      steps[row * columns + column] = Math.min(STEP_STOPS_MAX, above - below);
    }
  }
  return steps;
}

function strongestLine(steps: Float32Array, columns: number, rows: number): readonly number[] {
  const best = new Float32Array(columns * rows);
  const from = new Int16Array(columns * rows);
  for (let row = 0; row < rows; row += 1) best[row * columns] = steps[row * columns]!;
  for (let column = 1; column < columns; column += 1) {
    for (let row = 0; row < rows; row += 1) {
      let [value, source] = [-Infinity, row];
      for (let other = Math.max(0, row - 4); other <= Math.min(rows - 1, row + 4); other += 1) {
        const candidate = best[other * columns + column - 1]! - JUMP_COST * Math.abs(other - row);
        if (candidate > value) [value, source] = [candidate, other];
      }
      best[row * columns + column] = value + steps[row * columns + column]!;
      from[row * columns + column] = source;
    }
  }
  let row = 0;
  for (let other = 1; other < rows; other += 1) {
    if (best[other * columns + columns - 1]! > best[row * columns + columns - 1]!) row = other;
  }
  const line = new Array<number>(columns);
  for (let column = columns - 1; column >= 0; column -= 1) {
    line[column] = row;
    row = from[row * columns + column]!;
  }
  return line;
}

function medianSlope(line: readonly number[]): number {
  const slopes: number[] = [];
  // Pairs at least a third of the frame apart: nearer ones only see the trees.
  const apart = Math.floor(line.length / 3);
  for (let left = 0; left < line.length - apart; left += 1) {
    for (let right = left + apart; right < line.length; right += 2) {
      slopes.push((line[right]! - line[left]!) / (right - left));
    }
  }
  return middleOf(slopes) ?? 0;
}
