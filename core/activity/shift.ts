import { RAD_PER_DEG } from "../sky/angles.ts";
import type { CurtainMotion } from "../exposure/curtainMotion.ts";
import { SIDEREAL_ARCSEC_PER_SECOND } from "../exposure/starTrail.ts";
import type { MotionMap } from "./motionMap.ts";
import { weightedMiddleOf } from "../statistics.ts";

/*
 * Where a number below names what half and double of it do, the figures are of 63 series of 6 or 7
 * frames (rays and folds at 0.01 to 0.7 °/s, faint ones, still skies, noise, changing skies), the 45
 * moving ones in 255 pairs: as it stands 192 are measured, with 0.28 stops RMS, 6 off by over 25 %.
 * Where it says "painted", they are of 24 series of painted curtains, strong and faint, in 120 pairs:
 * 54 measured, 7 off (`npx tsx tests/bench/constants.ts --only motion`).
 */

/** Fastest speed that is searched for: at half of it 176 are measured, at double 187 and more time. */
const DEG_PER_SECOND_MAX = 0.8;
/** Shift, cells of the fine grid, that is large enough to be measured well. At 1: 188 and 9 wrong; at 4: 193 and 5, but over times in which real curtains change. */
const GOOD_SHIFT_CELLS = 2;

/** Degrees a second, or why they are not known. */
export type CurtainSpeed = Unknown | { readonly kind: "measured"; readonly degPerSecond: number };

type Unknown = Extract<CurtainMotion, { kind: "unknown" }>;

function unknown(why: string): Unknown {
  return { kind: "unknown", why };
}

/** Two stars' speeds: slower is not distinguishable from the turning sky. */
export const STARS_DEG_PER_SECOND = (2 * SIDEREAL_ARCSEC_PER_SECOND) / 3600;

/**
 * Apparent speed of the curtains from where their structure stands in successive frames.
 *
 * The sky is divided into fields. Each field of the newer frame is searched for in the older one by
 * normalised correlation on a coarse grid, and its shift is refined on the fine one by least squares
 * (Lucas and Kanade). When the shift is small, an older frame is taken instead, so that slow curtains
 * are measured over a longer time. The typical speed is the median over the fields, weighted by how
 * much structure they hold. Where the evidence is thin (nothing to see, two equal matches, a match
 * at the end of the search, fields that disagree) the answer is why it is not known.
 * Sources: Lewis 1995 (normalised cross-correlation), Lucas & Kanade 1981, Baker & Matthews 2004.
 *
 * @param maps  Earlier frames, oldest first, all of the newest one's size.
 */
export function shiftSpeedOf(maps: readonly MotionMap[], map: MotionMap): CurtainSpeed {
  const last = maps.at(-1);
  if (last === undefined) return unknown("no earlier frame to compare with");
  const fields = fieldsOf(map);
  if (fields.length === 0) return unknown("no structure in the sky");
  const found = searchFields(last, map, fields);
  if (found.kind === "unknown") return found;
  const first = refineFields(last, map, found.shifts);
  if (first.kind === "unknown") return first;
  let best = first;
  let from = last;
  for (let round = 0; round < LENGTHENINGS; round += 1) {
    const base = longerBase(maps, map, best, secondsBetween(from, map));
    if (base === null || base === from) break;
    const stretch = secondsBetween(base, map) / secondsBetween(from, map);
    const start = best.fields.map(({ field, x, y }) => ({ field, x: x * stretch, y: y * stretch }));
    const longer = refineFields(base, map, start);
    if (longer.kind === "unknown" || longer.doubt > best.doubt) break;
    best = longer;
    from = base;
  }
  return speedOf(best);
}

/** How often the time over which a slow motion is measured is stretched. Once: one more is wrong; six times: the same. */
const LENGTHENINGS = 3;

function speedOf({ degPerSecond, doubt }: Refined): CurtainSpeed {
  // What is slower than the stars within its doubt is called so, however doubtful.
  const isKnown = doubt <= DOUBT_MAX || degPerSecond * (1 + 2 * doubt) < STARS_DEG_PER_SECOND;
  return isKnown ? { kind: "measured", degPerSecond } : unknown("the motion is lost in noise");
}

function secondsBetween(from: MotionMap, to: MotionMap): number {
  return (to.midMs - from.midMs) / 1000;
}

/** The oldest map over which the shift stays moderate, for all that is known of it; null: none. */
function longerBase(
  maps: readonly MotionMap[],
  map: MotionMap,
  { shiftCells, doubt }: Refined,
  seconds: number,
): MotionMap | null {
  // A bound, painted: half and double of 0.1 the same. Slack of 1.2: half 51 and 6 off, double 55 and 8.
  const leastShift = Math.max(0.1, shiftCells * (1 - Math.min(1, 2 * doubt)));
  const longest = (seconds * GOOD_SHIFT_CELLS) / leastShift;
  return maps.find((old) => secondsBetween(old, map) <= longest * 1.2) ?? null;
}

/** A part of the sky that is matched as a whole. */
type Field = {
  readonly left: number;
  readonly top: number;
  readonly right: number;
  readonly bottom: number;
  /** Sum of squares of the structure in it. */
  readonly energy: number;
};

/** 2 × 2 fields: 196 and 1 wrong, but one false speed where nothing moves; 8 × 6: 163 and 20 wrong. */
const FIELDS_ACROSS = 4;
const FIELDS_UP = 3;
/** Mean square of the structure, stops², below which a field is empty: about 2.5 %. A quarter (half the contrast): 209 and 25 wrong; four times: 181. */
const STRUCTURE_MIN = 0.035 ** 2;
/** A bound against slivers of sky: 60 and 240 change nothing. */
const FIELD_CELLS_MIN = 120;

function fieldsOf(map: MotionMap): Field[] {
  const fields: Field[] = [];
  for (let up = 0; up < FIELDS_UP; up += 1) {
    for (let across = 0; across < FIELDS_ACROSS; across += 1) {
      const left = Math.floor((across * map.columns) / FIELDS_ACROSS);
      const right = Math.floor(((across + 1) * map.columns) / FIELDS_ACROSS);
      const top = Math.floor((up * map.rows) / FIELDS_UP);
      const bottom = Math.floor(((up + 1) * map.rows) / FIELDS_UP);
      let [energy, count] = [0, 0];
      for (let row = top; row < bottom; row += 1) {
        for (let column = left; column < right; column += 1) {
          const cell = row * map.columns + column;
          count += map.isSky[cell]!;
          energy += map.values[cell]! ** 2;
        }
      }
      if (count < FIELD_CELLS_MIN || energy < STRUCTURE_MIN * count) continue;
      fields.push({ left, top, right, bottom, energy });
    }
  }
  return fields;
}

/** Where the field's structure came from: older = newer − shift, cells of the fine grid. */
type FieldShift = { readonly field: Field; readonly x: number; readonly y: number };

/** Cells of the fine grid to one of the coarse. Painted: 1 takes many times as long for 56 and 9 off; 4: 61 and 14 off. */
const COARSE = 2;
/** Correlation that a match must reach (0.22: the same; 0.9: 190), and how far the next best peak must stay below it (half: 185; without: 197 and 7 wrong). */
const MATCH_MIN = 0.45;
const RIVAL_MAX = 0.92;

function searchFields(
  older: MotionMap,
  newer: MotionMap,
  fields: readonly Field[],
): Unknown | { readonly kind: "found"; readonly shifts: readonly FieldShift[] } {
  const seconds = secondsBetween(older, newer);
  const reach = Math.min(
    Math.ceil((DEG_PER_SECOND_MAX * seconds) / (newer.stepDeg * COARSE)) + 1,
    Math.floor(newer.columns / COARSE / 3),
  );
  const a = coarsen(older);
  const b = coarsen(newer);
  const surfaces = fields.map((field) => correlate(a, b, field, reach));
  const global = sumOfSurfaces(surfaces);
  const side = 2 * reach + 1;
  const peak = peakOf(global, side);
  if (peak.value < MATCH_MIN) return unknown(CHANGED);
  if (isAtEdge(peak.index, side)) return unknown("the curtains moved further than can be followed");
  if (rivalOf(global, side, peak.index) > RIVAL_MAX * peak.value) {
    return unknown("two motions explain the frames equally well");
  }
  const shifts = fields.map((field, index) => {
    const own = nearestPeak(surfaces[index]!, side, peak.index);
    return {
      field,
      x: ((own % side) - reach) * COARSE,
      y: (Math.floor(own / side) - reach) * COARSE,
    };
  });
  return { kind: "found", shifts };
}

const CHANGED = "the sky has changed too much between frames";

type CoarseMap = { columns: number; rows: number; values: Float32Array; isSky: Uint8Array };

function coarsen(map: MotionMap): CoarseMap {
  const columns = Math.floor(map.columns / COARSE);
  const rows = Math.floor(map.rows / COARSE);
  const values = new Float32Array(columns * rows);
  const isSky = new Uint8Array(columns * rows);
  for (let row = 0; row < rows; row += 1) {
    for (let column = 0; column < columns; column += 1) {
      const a = row * COARSE * map.columns + column * COARSE;
      const c = a + map.columns;
      const cell = row * columns + column;
      isSky[cell] = map.isSky[a]! & map.isSky[a + 1]! & map.isSky[c]! & map.isSky[c + 1]!;
      if (isSky[cell] === 0) continue;
      values[cell] =
        (map.values[a]! + map.values[a + 1]! + map.values[c]! + map.values[c + 1]!) / 4;
    }
  }
  return { columns, rows, values, isSky };
}

/** Every second row is enough to find the match that is then refined: a speed of the search alone. */
const SEARCH_ROWS = 2;

/** Sums of products for each shift, row by row from −reach. */
type Surface = { cross: Float64Array; newer: Float64Array; older: Float64Array };

function correlate(older: CoarseMap, newer: CoarseMap, field: Field, reach: number): Surface {
  const side = 2 * reach + 1;
  const surface: Surface = {
    cross: new Float64Array(side * side),
    newer: new Float64Array(side * side),
    older: new Float64Array(side * side),
  };
  const { columns, rows } = newer;
  const left = Math.floor(field.left / COARSE);
  const right = Math.min(columns, Math.floor(field.right / COARSE));
  const top = Math.floor(field.top / COARSE);
  const bottom = Math.min(rows, Math.floor(field.bottom / COARSE));
  for (let dy = -reach, index = 0; dy <= reach; dy += 1) {
    for (let dx = -reach; dx <= reach; dx += 1, index += 1) {
      let [cross, squaresB, squaresA] = [0, 0, 0];
      const rowEnd = Math.min(bottom, rows + dy);
      const columnEnd = Math.min(right, columns + dx);
      for (let row = Math.max(top, dy); row < rowEnd; row += SEARCH_ROWS) {
        const base = row * columns;
        const other = (row - dy) * columns - dx;
        for (let column = Math.max(left, dx); column < columnEnd; column += 1) {
          if ((newer.isSky[base + column]! & older.isSky[other + column]!) === 0) continue;
          const b = newer.values[base + column]!;
          const a = older.values[other + column]!;
          cross += a * b;
          squaresB += b * b;
          squaresA += a * a;
        }
      }
      surface.cross[index] = cross;
      surface.newer[index] = squaresB;
      surface.older[index] = squaresA;
    }
  }
  return surface;
}

function sumOfSurfaces(surfaces: readonly Surface[]): Surface {
  const length = surfaces[0]!.cross.length;
  const sum: Surface = {
    cross: new Float64Array(length),
    newer: new Float64Array(length),
    older: new Float64Array(length),
  };
  for (const surface of surfaces) {
    for (let index = 0; index < length; index += 1) {
      sum.cross[index]! += surface.cross[index]!;
      sum.newer[index]! += surface.newer[index]!;
      sum.older[index]! += surface.older[index]!;
    }
  }
  return sum;
}

function valueAt({ cross, newer, older }: Surface, index: number): number {
  const scale = Math.sqrt(newer[index]! * older[index]!);
  return scale > 0 ? cross[index]! / scale : 0;
}

function peakOf(surface: Surface, side: number): { index: number; value: number } {
  let best = { index: (side * side - 1) / 2, value: -1 };
  for (let index = 0; index < surface.cross.length; index += 1) {
    const value = valueAt(surface, index);
    if (value > best.value) best = { index, value };
  }
  return best;
}

function isAtEdge(index: number, side: number): boolean {
  const [x, y] = [index % side, Math.floor(index / side)];
  return x === 0 || y === 0 || x === side - 1 || y === side - 1;
}

/** Highest other peak: a local maximum more than two cells away. */
function rivalOf(surface: Surface, side: number, peak: number): number {
  let rival = -1;
  for (let y = 1; y < side - 1; y += 1) {
    for (let x = 1; x < side - 1; x += 1) {
      const index = y * side + x;
      if (Math.abs(x - (peak % side)) <= 2 && Math.abs(y - Math.floor(peak / side)) <= 2) continue;
      const value = valueAt(surface, index);
      if (value <= rival) continue;
      const isPeak = [-side - 1, -side, -side + 1, -1, 1, side - 1, side, side + 1].every(
        (step) => valueAt(surface, index + step) <= value,
      );
      if (isPeak) rival = value;
    }
  }
  return rival;
}

/** The field's own best match within two cells of the common one. */
function nearestPeak(surface: Surface, side: number, common: number): number {
  let best = common;
  for (let dy = -2; dy <= 2; dy += 1) {
    for (let dx = -2; dx <= 2; dx += 1) {
      const [x, y] = [(common % side) + dx, Math.floor(common / side) + dy];
      if (x < 0 || y < 0 || x >= side || y >= side) continue;
      const index = y * side + x;
      if (valueAt(surface, index) > valueAt(surface, best)) best = index;
    }
  }
  return best;
}

type Refined = {
  readonly kind: "refined";
  readonly degPerSecond: number;
  readonly shiftCells: number;
  readonly fields: readonly FieldShift[];
  /** Relative doubt of the speed. */
  readonly doubt: number;
};

/** Fields whose refined match falls below this are not believed. 0.25: the same; 0.9: 188, and 3 more false speeds. */
const FIELD_MATCH_MIN = 0.5;
/** Relative doubt of the speed beyond which it is not said. Half: 124; double: 204, and 3 more false speeds. */
const DOUBT_MAX = 0.12;
/** Scatter of the fields' shifts, relative to their mean, up to which they move as one. Half: 181, and 3 more false speeds; double: 187. */
const TOGETHER_MAX = 0.6;

function refineFields(
  older: MotionMap,
  newer: MotionMap,
  shifts: readonly FieldShift[],
): Refined | Unknown {
  const fields = shifts
    .map((shift) => refineField(older, newer, shift))
    .filter((field) => field !== null && field.match >= FIELD_MATCH_MIN) as RefinedField[];
  if (fields.length === 0) return unknown(CHANGED);
  const turned = typicalShift(fields.map((field) => turnedVector(field)));
  const flat = typicalShift(fields.map((field) => flatVector(field, newer)));
  // A sky that turns moves evenly in angles, a picture that is shifted moves evenly in pixels; over
  // a wide lens the two differ by half, so the one that fits the fields better is taken. At half of
  // 0.8: 193 and 6 wrong; at double: 63 wrong.
  const { cells, doubt } = flat.doubt < 0.8 * turned.doubt ? flat : turned;
  return {
    kind: "refined",
    degPerSecond: (cells * newer.stepDeg) / secondsBetween(older, newer),
    shiftCells: cells,
    fields,
    doubt,
  };
}

/** A field's shift with its weight. */
type FieldVector = { x: number; y: number; weight: number; doubt: number };

/** In cells of equal angle. */
function turnedVector({ field, x, y, match, doubt }: RefinedField): FieldVector {
  return { x, y, weight: field.energy * match * match, doubt };
}

/** As it looks in the picture, in cells of the size they have on the axis: X = tan u, Y = tan v / cos u. */
function flatVector(refined: RefinedField, map: MotionMap): FieldVector {
  const { field, x, y } = refined;
  const step = map.stepDeg * RAD_PER_DEG;
  const u = ((field.left + field.right) / 2 - map.columns / 2) * step;
  const v = ((field.top + field.bottom) / 2 - map.rows / 2) * step;
  const cosU = Math.cos(u);
  const flatX = x / cosU ** 2;
  const flatY = y / (Math.cos(v) ** 2 * cosU) + (x * Math.tan(v) * Math.sin(u)) / cosU ** 2;
  return { ...turnedVector(refined), x: flatX, y: flatY };
}

/**
 * Size of the common shift and its relative doubt. Fields that move as one are averaged, and their
 * scatter is the doubt; fields that go their own ways give the median of their speeds, if each
 * stands clear of its noise.
 */
function typicalShift(vectors: readonly FieldVector[]): { cells: number; doubt: number } {
  const total = vectors.reduce((sum, { weight }) => sum + weight, 0);
  const mean = (of: (vector: FieldVector) => number): number =>
    vectors.reduce((sum, vector) => sum + (vector.weight / total) * of(vector), 0);
  const [x, y] = [mean((vector) => vector.x), mean((vector) => vector.y)];
  const size = Math.max(1e-6, Math.hypot(x, y));
  const scatter = Math.sqrt(mean((vector) => (vector.x - x) ** 2 + (vector.y - y) ** 2));
  // Weights differ: so many fields of one weight would do as much.
  const count = total ** 2 / vectors.reduce((sum, { weight }) => sum + weight ** 2, 0);
  const formal = Math.sqrt(mean((vector) => vector.doubt ** 2) / count);
  // One field alone has no scatter: twice its own doubt. Painted: the limit of 1.5 at half 63 and 10 off,
  // at double 40 and 2 off; the twofold doubt at half 55 and 8 off, at double 51 and 5 off.
  if (scatter <= TOGETHER_MAX * size || count < 1.5) {
    const byScatter = count < 1.5 ? 2 * formal : scatter / Math.sqrt(count);
    return { cells: size, doubt: Math.max(formal, byScatter) / size };
  }
  const speeds = vectors.map((vector) => Math.hypot(vector.x, vector.y));
  const weights = vectors.map(({ weight }) => weight);
  const cells = weightedMiddleOf(speeds, weights)!;
  // Fields that scatter by noise alone look like this, too; then nothing is known. 0.15 at half: 188;
  // at double: 7 wrong. Above 1 cell: above 0.5 the same, above 2 one more wrong.
  const isClear = mean((vector) => vector.doubt) < 0.15 * cells && cells > 1;
  return { cells, doubt: isClear ? DOUBT_MAX : 1 };
}

type RefinedField = FieldShift & {
  readonly match: number;
  /** One standard deviation of the shift, by the residual, cells. */
  readonly doubt: number;
};

/** 2: 177 and 9 wrong; 8: 192 and 7 wrong. */
const REFINE_ITERATIONS = 4;
/** The maps are smoothed over three rows, so that every second one holds nearly all there is: every one 190, every fourth 185. */
const REFINE_ROWS = 2;
/** Share of the stronger direction's structure that is added to both: along a plain arc no shift shows. Half: 193; double: 185. */
const DAMPING = 0.01;

/**
 * Lucas and Kanade: the shift that lets the older map, scaled, meet the newer one best. Gradients are
 * the mean of both maps', which keeps noise from shortening the shift.
 */
function refineField(older: MotionMap, newer: MotionMap, start: FieldShift): RefinedField | null {
  const { field } = start;
  let { x, y } = start;
  let sums = normalSums(older, newer, field, x, y);
  for (let iteration = 0; iteration < REFINE_ITERATIONS && sums !== null; iteration += 1) {
    const step = solveShift(sums);
    // Painted: 0.01 the same, 0.04 one more; steps of at most 1 one fewer, of 4 the same: a bound.
    if (Math.hypot(step.x, step.y) < 0.02) break;
    x += Math.max(-2, Math.min(2, step.x));
    y += Math.max(-2, Math.min(2, step.y));
    sums = normalSums(older, newer, field, x, y);
  }
  // Bounds against a field that has left the picture. Painted: an eighth and a half the same; a reach of
  // 1.5 coarse cells one more, of 6 the same.
  if (sums === null || sums.count < FIELD_CELLS_MIN / 4) return null;
  if (Math.hypot(x - start.x, y - start.y) > 3 * COARSE) return null;
  // Neighbouring cells share their noise after smoothing: about nine of them make one fact,
  // four and a half where every second row is left out.
  const doubt = Math.sqrt((4.5 * sums.residual * 2) / Math.max(1e-9, sums.gxx + sums.gyy));
  return { field, x, y, match: sums.match, doubt };
}

type NormalSums = {
  readonly gxx: number;
  readonly gxy: number;
  readonly gyy: number;
  readonly gxe: number;
  readonly gye: number;
  /** Normalised correlation. */
  readonly match: number;
  /** Mean square of what is left. */
  readonly residual: number;
  readonly count: number;
};

function solveShift({ gxx, gxy, gyy, gxe, gye }: NormalSums): { x: number; y: number } {
  const damping = DAMPING * Math.max(gxx, gyy) + 1e-9;
  const [a, c] = [gxx + damping, gyy + damping];
  const determinant = a * c - gxy * gxy;
  if (determinant <= 0) return { x: 0, y: 0 };
  return { x: (c * gxe - gxy * gye) / determinant, y: (a * gye - gxy * gxe) / determinant };
}

function normalSums(
  older: MotionMap,
  newer: MotionMap,
  field: Field,
  shiftX: number,
  shiftY: number,
): NormalSums | null {
  const { columns } = newer;
  const patch = shiftedPatch(older, newer, field, shiftX, shiftY);
  if (patch === null) return null;
  const { left, top, width, height, values, isBoth, gain } = patch;
  const b = newer.values;
  let [gxx, gxy, gyy, gxe, gye] = [0, 0, 0, 0, 0];
  let [cross, squaresA, squaresB, error, count] = [0, 0, 0, 0, 0];
  for (let row = 1; row < height - 1; row += REFINE_ROWS) {
    for (let column = 1; column < width - 1; column += 1) {
      const cell = row * width + column;
      if (isBoth[cell] === 0) continue;
      const at = (top + row) * columns + left + column;
      const valueA = gain * values[cell]!;
      const valueB = b[at]!;
      const gx = (gain * (values[cell + 1]! - values[cell - 1]!) + b[at + 1]! - b[at - 1]!) / 4;
      const gy =
        (gain * (values[cell + width]! - values[cell - width]!) +
          b[at + columns]! -
          b[at - columns]!) /
        4;
      // The newer map is the older one moved by the shift: a rise in its way lowers what is met.
      const difference = valueA - valueB;
      gxx += gx * gx;
      gxy += gx * gy;
      gyy += gy * gy;
      gxe += gx * difference;
      gye += gy * difference;
      cross += valueA * valueB;
      squaresA += valueA * valueA;
      squaresB += valueB * valueB;
      error += difference * difference;
      count += 1;
    }
  }
  const match = cross / Math.sqrt(squaresA * squaresB + 1e-12);
  return { gxx, gxy, gyy, gxe, gye, match, residual: error / Math.max(1, count), count };
}

type Patch = {
  readonly left: number;
  readonly top: number;
  readonly width: number;
  readonly height: number;
  /** The older map where it lies after the shift, by bilinear interpolation. */
  readonly values: Float32Array;
  /** 1 where both maps show sky. */
  readonly isBoth: Uint8Array;
  /** Contrast of the newer map over the older one's. */
  readonly gain: number;
};

function shiftedPatch(
  older: MotionMap,
  newer: MotionMap,
  field: Field,
  shiftX: number,
  shiftY: number,
): Patch | null {
  const { columns, rows } = newer;
  const wholeX = Math.floor(-shiftX);
  const wholeY = Math.floor(-shiftY);
  const [fx, fy] = [-shiftX - wholeX, -shiftY - wholeY];
  const [w00, w10, w01, w11] = [(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy];
  const left = Math.max(field.left, -wholeX, 1);
  const top = Math.max(field.top, -wholeY, 1);
  const width = Math.min(field.right, columns - 1 - wholeX, columns - 1) - left;
  const height = Math.min(field.bottom, rows - 1 - wholeY, rows - 1) - top;
  if (width < 4 || height < 4) return null;
  const values = new Float32Array(width * height);
  const isBoth = new Uint8Array(width * height);
  const a = older.values;
  let [ab, aa] = [0, 0];
  for (let row = 0, cell = 0; row < height; row += 1) {
    let at = (top + row) * columns + left;
    let from = at + wholeY * columns + wholeX;
    for (let column = 0; column < width; column += 1, cell += 1, at += 1, from += 1) {
      const value =
        w00 * a[from]! +
        w10 * a[from + 1]! +
        w01 * a[from + columns]! +
        w11 * a[from + columns + 1]!;
      values[cell] = value;
      if ((newer.isSky[at]! & older.isSky[from]!) === 0) continue;
      isBoth[cell] = 1;
      ab += value * newer.values[at]!;
      aa += value * value;
    }
  }
  return { left, top, width, height, values, isBoth, gain: clampGain(ab / Math.max(1e-9, aa)) };
}

/** Curtains fade and flare, but a field that would have to be turned over is no match. 1.4 and 4 change nothing: a bound. */
function clampGain(gain: number): number {
  return Math.min(2, Math.max(0.5, gain));
}
