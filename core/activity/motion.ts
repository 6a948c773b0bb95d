import { SIDEREAL_ARCSEC_PER_SECOND } from "../exposure/starTrail.ts";
import type { CurtainMotion } from "../photometry/reading.ts";
import type { MotionMap } from "./motionMap.ts";

/**
 * Apparent speed of the curtains, from successive frames.
 *
 * The sky is divided into fields. Each field of the newer frame is searched for in the older one by
 * normalised correlation on a coarse grid, and its shift is refined on the fine one by least squares
 * (Lucas and Kanade). When the shift is small, an older frame is taken instead, so that slow curtains
 * are measured over a longer time. The typical speed is the median over the fields, weighted by how
 * much structure they hold. Where the evidence is thin (nothing to see, two equal matches, a match
 * at the end of the search, fields that disagree) the answer is "unknown".
 * Sources: Lewis 1995 (normalised cross-correlation), Lucas & Kanade 1981, Baker & Matthews 2004.
 */
export type MotionHistory = {
  /** Oldest first; all of one size. */
  readonly maps: readonly MotionMap[];
};

export const NO_MOTION_HISTORY: MotionHistory = { maps: [] };

export type MotionScale = { readonly focalLengthMm: number; readonly pixelPitchUm: number };

const MAPS_MAX = 6;
/** Curtains evolve: an older frame shows others. */
const SECONDS_MAX = 60;
/** Fastest speed that is searched for. */
const DEG_PER_SECOND_MAX = 0.8;
/** Two stars' speeds: slower is not told from the turning sky. */
const DEG_PER_SECOND_MIN = (2 * SIDEREAL_ARCSEC_PER_SECOND) / 3600;
/** Shift, cells of the fine grid, that is large enough to be measured well. */
const GOOD_SHIFT_CELLS = 2;

/** Adds a frame's map and measures the motion that led to it. */
export function measureMotion(
  history: MotionHistory,
  map: MotionMap,
  scale: MotionScale,
): { motion: CurtainMotion; history: MotionHistory } {
  const maps = history.maps.filter(
    (old) =>
      old.columns === map.columns &&
      old.rows === map.rows &&
      map.midMs - old.midMs <= SECONDS_MAX * 1000 &&
      map.midMs > old.midMs,
  );
  const result = matchMaps(maps, map);
  return {
    motion: typeof result === "string" ? { kind: "unknown", why: result } : asMotion(result, scale),
    history: { maps: [...maps, map].slice(-MAPS_MAX) },
  };
}

function asMotion(degPerSecond: number, scale: MotionScale): CurtainMotion {
  if (degPerSecond < DEG_PER_SECOND_MIN) {
    return { kind: "unknown", why: "nothing moves faster than the stars" };
  }
  const pxPerRadian = (scale.focalLengthMm * 1000) / scale.pixelPitchUm;
  return {
    kind: "measured",
    degPerSecond,
    pxPerSecond: ((degPerSecond * Math.PI) / 180) * pxPerRadian,
  };
}

/** Speed in degrees a second, or why it is not known. */
function matchMaps(maps: readonly MotionMap[], map: MotionMap): number | string {
  const last = maps.at(-1);
  if (last === undefined) return "no earlier frame to compare with";
  const fields = fieldsOf(map);
  if (fields.length === 0) return "no structure in the sky";
  const found = searchFields(last, map, fields);
  if (typeof found === "string") return found;
  const first = refineFields(last, map, found);
  if (typeof first === "string") return first;
  const base = longerBase(maps, map, first.shiftCells, secondsBetween(last, map));
  if (base === null) return first.degPerSecond;
  const stretch = secondsBetween(base, map) / secondsBetween(last, map);
  const scaled = first.fields.map(({ field, x, y }) => ({ field, x: x * stretch, y: y * stretch }));
  const longer = refineFields(base, map, scaled);
  return typeof longer === "string" ? first.degPerSecond : longer.degPerSecond;
}

function secondsBetween(from: MotionMap, to: MotionMap): number {
  return (to.midMs - from.midMs) / 1000;
}

/** The oldest map over which the shift stays moderate; null when the newest is right already. */
function longerBase(
  maps: readonly MotionMap[],
  map: MotionMap,
  shiftCells: number,
  seconds: number,
): MotionMap | null {
  const wanted = (seconds * GOOD_SHIFT_CELLS) / Math.max(0.05, shiftCells);
  const base = maps.find((old) => secondsBetween(old, map) <= wanted * 1.2);
  return base === undefined || base === maps.at(-1) ? null : base;
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

const FIELDS_ACROSS = 4;
const FIELDS_UP = 3;
/** Mean square of the structure, stops², below which a field is empty: about 2.5 %. */
const STRUCTURE_MIN = 0.035 ** 2;
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

const COARSE = 2;
/** Correlation that a match must reach, and how far the next best peak must stay below it. */
const MATCH_MIN = 0.45;
const RIVAL_MAX = 0.92;

function searchFields(
  older: MotionMap,
  newer: MotionMap,
  fields: readonly Field[],
): FieldShift[] | string {
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
  if (peak.value < MATCH_MIN) return "the sky has changed too much between frames";
  if (isAtEdge(peak.index, side)) return "the curtains moved further than can be followed";
  if (rivalOf(global, side, peak.index) > RIVAL_MAX * peak.value) {
    return "two motions explain the frames equally well";
  }
  return fields.map((field, index) => {
    const own = nearestPeak(surfaces[index]!, side, peak.index);
    return {
      field,
      x: ((own % side) - reach) * COARSE,
      y: (Math.floor(own / side) - reach) * COARSE,
    };
  });
}

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
      for (let row = Math.max(top, dy); row < rowEnd; row += 1) {
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
  readonly degPerSecond: number;
  readonly shiftCells: number;
  readonly fields: readonly FieldShift[];
};

/** Fields whose refined match falls below this are not believed. */
const FIELD_MATCH_MIN = 0.5;
/** Relative doubt of the speed beyond which it is not said. */
const DOUBT_MAX = 0.2;

function refineFields(
  older: MotionMap,
  newer: MotionMap,
  shifts: readonly FieldShift[],
): Refined | string {
  const seconds = secondsBetween(older, newer);
  const measured = shifts
    .map((shift) => refineField(older, newer, shift))
    .filter((field) => field !== null)
    .filter((field) => field.match >= FIELD_MATCH_MIN);
  if (measured.length === 0) return "the sky has changed too much between frames";
  const speeds = measured.map(({ field, x, y, match, doubt }) => {
    const altitude = ((field.top + field.bottom) / 2 - newer.rows / 2) * newer.stepDeg;
    const cells = Math.hypot(x * Math.cos((altitude * Math.PI) / 180), y);
    return { cells, x, y, weight: field.energy * match * match, doubt };
  });
  const cells = weightedMedian(speeds.map(({ cells, weight }) => ({ value: cells, weight })));
  const weights = speeds.reduce((sum, { weight }) => sum + weight, 0);
  const doubt = Math.sqrt(
    speeds.reduce((sum, { doubt, weight }) => sum + (weight * doubt) ** 2, 0) / weights ** 2,
  );
  const meanX = speeds.reduce((sum, { x, weight }) => sum + x * weight, 0) / weights;
  const meanY = speeds.reduce((sum, { y, weight }) => sum + y * weight, 0) / weights;
  if (cells > 0.3 && Math.hypot(meanX, meanY) < 0.4 * cells) {
    return "parts of the sky move against each other";
  }
  const degPerSecond = (cells * newer.stepDeg) / seconds;
  if (doubt > DOUBT_MAX * cells && degPerSecond > DEG_PER_SECOND_MIN) {
    return "the motion is lost in noise";
  }
  return { degPerSecond, shiftCells: cells, fields: measured };
}

function weightedMedian(items: readonly { value: number; weight: number }[]): number {
  const sorted = items.toSorted((a, b) => a.value - b.value);
  const half = sorted.reduce((sum, { weight }) => sum + weight, 0) / 2;
  let sum = 0;
  for (const { value, weight } of sorted) {
    sum += weight;
    if (sum >= half) return value;
  }
  return sorted.at(-1)!.value;
}

type RefinedField = FieldShift & { readonly match: number; readonly doubt: number };

const REFINE_ITERATIONS = 6;
/** Share of the stronger direction's structure that is added to both: along a plain arc no shift shows. */
const DAMPING = 0.01;

/**
 * Lucas and Kanade: the shift that lets the older map, scaled, meet the newer one best. Gradients are
 * the mean of both maps', which keeps noise from shortening the shift.
 */
function refineField(older: MotionMap, newer: MotionMap, start: FieldShift): RefinedField | null {
  const { field } = start;
  let { x, y } = start;
  let sums = normalSums(older, newer, field, x, y);
  for (let iteration = 0; iteration < REFINE_ITERATIONS; iteration += 1) {
    if (sums.count < FIELD_CELLS_MIN / 2) return null;
    const step = solveShift(sums);
    x += Math.max(-2, Math.min(2, step.x));
    y += Math.max(-2, Math.min(2, step.y));
    sums = normalSums(older, newer, field, x, y);
    if (Math.hypot(step.x, step.y) < 0.005) break;
  }
  if (Math.hypot(x - start.x, y - start.y) > 3 * COARSE) return null;
  const match = sums.cross / Math.sqrt(sums.squaresA * sums.squaresB + 1e-12);
  const trace = sums.gxx + sums.gyy;
  const residual = Math.max(0, sums.error / Math.max(1, sums.count));
  // Neighbouring cells share their noise after smoothing: about nine of them make one fact.
  const doubt = Math.sqrt((9 * residual * 2) / Math.max(1e-9, trace));
  return { field, x, y, match, doubt };
}

type NormalSums = {
  gxx: number;
  gxy: number;
  gyy: number;
  gxe: number;
  gye: number;
  cross: number;
  squaresA: number;
  squaresB: number;
  error: number;
  count: number;
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
): NormalSums {
  const { columns, rows } = newer;
  const wholeX = Math.floor(-shiftX);
  const wholeY = Math.floor(-shiftY);
  const [fx, fy] = [-shiftX - wholeX, -shiftY - wholeY];
  const [w00, w10, w01, w11] = [(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy];
  const a = older.values;
  const b = newer.values;
  const gain = gainOf();
  let [gxx, gxy, gyy, gxe, gye] = [0, 0, 0, 0, 0];
  let [cross, squaresA, squaresB, error, count] = [0, 0, 0, 0, 0];
  visit((at, from) => {
    const shifted = (offset: number): number =>
      w00 * a[from + offset]! +
      w10 * a[from + offset + 1]! +
      w01 * a[from + offset + columns]! +
      w11 * a[from + offset + columns + 1]!;
    const valueA = gain * shifted(0);
    const valueB = b[at]!;
    const gx = (gain * (shifted(1) - shifted(-1)) + b[at + 1]! - b[at - 1]!) / 4;
    const gy =
      (gain * (shifted(columns) - shifted(-columns)) + b[at + columns]! - b[at - columns]!) / 4;
    // The newer map is the older one moved by the shift: a rise in the way lowers what is met.
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
  });
  return { gxx, gxy, gyy, gxe, gye, cross, squaresA, squaresB, error, count };

  function gainOf(): number {
    let [ab, aa] = [0, 0];
    visit((at, from) => {
      ab += a[from]! * b[at]!;
      aa += a[from]! * a[from]!;
    });
    return Math.min(2, Math.max(0.5, ab / Math.max(1e-9, aa)));
  }

  function visit(take: (at: number, from: number) => void): void {
    const top = Math.max(field.top, 2 - wholeY, 2);
    const bottom = Math.min(field.bottom, rows - 3 - wholeY, rows - 2);
    const left = Math.max(field.left, 2 - wholeX, 2);
    const right = Math.min(field.right, columns - 3 - wholeX, columns - 2);
    for (let row = top; row < bottom; row += 1) {
      for (let column = left; column < right; column += 1) {
        const at = row * columns + column;
        const from = (row + wholeY) * columns + column + wholeX;
        if (newer.isSky[at] === 0 || older.isSky[from] === 0) continue;
        take(at, from);
      }
    }
  }
}
