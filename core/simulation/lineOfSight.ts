import { EARTH_RADIUS_KM } from "../sky/auroraGeometry.ts";
import { FOOT_KM, MIN_SIN_ALTITUDE, sinAltitudeOf, type FieldLineMap } from "./fieldLineMap.ts";

/** Share of a column's light that comes from each height. */
export type HeightProfile = {
  /** Ascending, km. */
  readonly heightsKm: readonly number[];
  /** Share times slice, adding up to 1. */
  readonly shares: readonly number[];
  /** Which copy of the feet each height reads: 0 sharp, 1 blurred, 2 more so. */
  readonly blurs: readonly number[];
};

/**
 * A profile from its shape; slices grow with height, and the wider ones read blurred feet so that
 * they leave no stripes.
 */
export function heightProfile(
  heightsKm: readonly number[],
  shape: (heightKm: number) => number,
  blurOf: (heightKm: number) => number,
): HeightProfile {
  const slices = heightsKm.map((height, index) => {
    const below = heightsKm[index - 1] ?? height;
    const above = heightsKm[index + 1] ?? height;
    return (shape(height) * (above - below)) / 2;
  });
  const total = slices.reduce((sum, slice) => sum + slice, 0);
  return {
    heightsKm,
    shares: slices.map((slice) => slice / total),
    blurs: heightsKm.map(blurOf),
  };
}

/** Steps of the altitude for which the sums along field lines are prepared. */
const ALTITUDE_STEPS = 500;

/** For each step of altitude and each height: where to read the feet and with what weight. */
export type LineOfSight = {
  readonly heightCount: number;
  /** Rows to add, and the weight of that row. */
  readonly rowOffset: Int16Array;
  readonly weight: Float32Array;
  /** Of sharp feet alone: the weight of the row above it. */
  readonly weightAbove: Float32Array;
  readonly blurs: readonly number[];
  /** Smallest and largest row offset among the heights of each blur. */
  readonly reach: readonly (readonly [lowest: number, highest: number])[];
};

/**
 * Prepares the sum along the line of sight for a profile.
 *
 * @param shiftKm  Lowers (negative) or lifts all heights.
 * Source: geometry; path through a layer is longer by 1 / sin of the angle at which it is crossed.
 */
export function lineOfSight(
  map: FieldLineMap,
  profile: HeightProfile,
  shiftKm: number,
): LineOfSight {
  const heightCount = profile.heightsKm.length;
  const size = (ALTITUDE_STEPS + 1) * heightCount;
  const rowOffset = new Int16Array(size);
  const weight = new Float32Array(size);
  const weightAbove = new Float32Array(size);
  for (let step = 0; step <= ALTITUDE_STEPS; step += 1) {
    const sine = Math.max(MIN_SIN_ALTITUDE, sineOfStep(step));
    for (let tap = 0; tap < heightCount; tap += 1) {
      const crossed = crossingOf(sine, profile.heightsKm[tap]! + shiftKm);
      if (crossed === null) continue;
      const at = step * heightCount + tap;
      const rows = crossed.lnFootOverHeight / map.wStep;
      const light = profile.shares[tap]! / crossed.sine;
      // Blurred feet are as good a row further down or up: the nearest one will do.
      const row = profile.blurs[tap] === 0 ? Math.floor(rows) : Math.round(rows);
      const part = profile.blurs[tap] === 0 ? rows - row : 0;
      rowOffset[at] = row;
      weight[at] = (1 - part) * light;
      weightAbove[at] = part * light;
    }
  }
  const reach = [0, 1, 2].map((blur): readonly [number, number] => {
    let [lowest, highest] = [0, 0];
    rowOffset.forEach((offset, at) => {
      if (profile.blurs[at % heightCount] !== blur) return;
      [lowest, highest] = [Math.min(lowest, offset), Math.max(highest, offset + 1)];
    });
    return [lowest, highest];
  });
  return { heightCount, rowOffset, weight, weightAbove, blurs: profile.blurs, reach };
}

/** Feet that lie less than this above the horizon plane give no light to the line of sight, km. */
const FOOT_Z_KM_MIN = 3;

/** Where a line of sight crosses a height; null where its feet are below the horizon. */
function crossingOf(
  sine: number,
  heightKm: number,
): { readonly lnFootOverHeight: number; readonly sine: number } | null {
  const cosine = Math.sqrt(1 - sine * sine);
  const slantKm =
    -EARTH_RADIUS_KM * sine +
    Math.sqrt((EARTH_RADIUS_KM * sine) ** 2 + 2 * EARTH_RADIUS_KM * heightKm + heightKm * heightKm);
  const zKm = slantKm * sine;
  const acrossKm = slantKm * cosine;
  const footZKm =
    Math.sqrt((EARTH_RADIUS_KM + FOOT_KM) ** 2 - acrossKm * acrossKm) - EARTH_RADIUS_KM;
  if (footZKm < FOOT_Z_KM_MIN) return null;
  return {
    lnFootOverHeight: Math.log(footZKm / zKm),
    sine: Math.sqrt(1 - ((EARTH_RADIUS_KM * cosine) / (EARTH_RADIUS_KM + heightKm)) ** 2),
  };
}

/** Altitude steps are even in the square root of the sine: finer near the horizon. */
function sineOfStep(step: number): number {
  return (step / ALTITUDE_STEPS) ** 2;
}

/** The cells of a map that somebody looks at: in each column the rows from the first to the last. */
export type SeenCells = {
  /** An unseen column's last row comes before its first. */
  readonly firstRow: Int32Array;
  readonly lastRow: Int32Array;
  /** Step of altitude of every seen cell, for `sumAlongLines`. */
  readonly altitudeStep: Uint16Array;
};

/**
 * Prepares the cells that are looked at; what is not seen need not be summed.
 *
 * @param seen  Indices of cells, `column * rowCount + row`, in any order.
 */
export function seenCells(map: FieldLineMap, seen: Iterable<number>): SeenCells {
  const { columnCount, rowCount } = map;
  const firstRow = new Int32Array(columnCount).fill(rowCount);
  const lastRow = new Int32Array(columnCount).fill(-1);
  for (const cell of seen) {
    const column = Math.floor(cell / rowCount);
    const row = cell - column * rowCount;
    firstRow[column] = Math.min(firstRow[column]!, row);
    lastRow[column] = Math.max(lastRow[column]!, row);
  }
  const altitudeStep = new Uint16Array(columnCount * rowCount);
  for (let column = 0; column < columnCount; column += 1) {
    for (let row = firstRow[column]!; row <= lastRow[column]!; row += 1) {
      const sine = Math.max(0, sinAltitudeOf(map, column, row));
      const step = Math.round(Math.sqrt(sine) * ALTITUDE_STEPS);
      altitudeStep[column * rowCount + row] = Math.min(ALTITUDE_STEPS, step);
    }
  }
  return { firstRow, lastRow, altitudeStep };
}

/** Room for the blurred copies of a map's feet. */
export type FeetCopies = readonly [Float32Array, Float32Array, Float32Array];

/** Rows over which the second and third copy of the feet are averaged (twice over). */
const BLUR_ROWS = [0, 2, 5] as const;

/** Fills the blurred copies from the sharp one. */
export function blurFeet(map: FieldLineMap, [sharp, soft, softer]: FeetCopies): void {
  const { rowCount, columnCount } = map;
  const between = new Float32Array(rowCount);
  for (let column = 0; column < columnCount; column += 1) {
    const base = column * rowCount;
    boxBlur(sharp, base, between, 0, rowCount, BLUR_ROWS[1]);
    boxBlur(between, 0, soft, base, rowCount, BLUR_ROWS[1]);
    boxBlur(soft, base, between, 0, rowCount, BLUR_ROWS[2]);
    boxBlur(between, 0, softer, base, rowCount, BLUR_ROWS[2]);
  }
}

function boxBlur(
  from: Float32Array,
  fromBase: number,
  to: Float32Array,
  toBase: number,
  count: number,
  reach: number,
): void {
  const share = 1 / (2 * reach + 1);
  let sum = 0;
  for (let index = 0; index < Math.min(reach, count); index += 1) sum += from[fromBase + index]!;
  for (let index = 0; index < count; index += 1) {
    const ahead = index + reach;
    if (ahead < count) sum += from[fromBase + ahead]!;
    to[toBase + index] = sum * share;
    const behind = index - reach;
    if (behind >= 0) sum -= from[fromBase + behind]!;
  }
}

/** Feet fainter than this leave no trace: a thousandth of the natural sky. */
const FAINT_KR = 1e-3;

/**
 * Brightness of every seen cell: the sum of its line of sight over the heights of a profile.
 *
 * @param feet  Footpoints' light with its blurred copies.
 * @param into  One number a cell; overwritten, with darkness where nobody looks.
 */
export function sumAlongLines(
  map: FieldLineMap,
  feet: FeetCopies,
  sight: LineOfSight,
  seen: SeenCells,
  into: Float32Array,
): void {
  const { rowCount, columnCount } = map;
  const { heightCount } = sight;
  const blurStart = [0, 0, 0, heightCount];
  for (let blur = 2; blur >= 1; blur -= 1) {
    const first = sight.blurs.findIndex((value) => value >= blur);
    blurStart[blur] = first < 0 ? blurStart[blur + 1]! : first;
  }
  // Room for every offset, so that reading outside a column finds darkness unasked.
  const below = -Math.min(...sight.reach.map(([lowest]) => lowest));
  const padded = rowCount + below + Math.max(...sight.reach.map(([, highest]) => highest)) + 1;
  const columns = [new Float32Array(padded), new Float32Array(padded), new Float32Array(padded)];
  for (let column = 0; column < columnCount; column += 1) {
    const base = column * rowCount;
    let lowest = rowCount;
    let highest = -1;
    for (let row = 0; row < rowCount; row += 1) {
      if (feet[2][base + row]! > FAINT_KR) {
        if (lowest === rowCount) lowest = row;
        highest = row;
      }
    }
    into.fill(0, base, base + rowCount);
    const [firstRow, lastRow] = [seen.firstRow[column]!, seen.lastRow[column]!];
    if (highest < 0 || lastRow < firstRow) continue;
    for (let blur = 0; blur < 3; blur += 1) {
      columns[blur]!.set(feet[blur]!.subarray(base, base + rowCount), below);
    }
    sumColumn({
      ...{ columns, below, blurStart, sight, base, lowest, highest, firstRow, lastRow, into },
      altitudeStep: seen.altitudeStep,
    });
  }
}

function sumColumn(options: {
  readonly columns: readonly Float32Array[];
  /** Dark rows before a column's first. */
  readonly below: number;
  readonly blurStart: readonly number[];
  readonly sight: LineOfSight;
  readonly altitudeStep: Uint16Array;
  readonly base: number;
  /** First and last row with light at its feet. */
  readonly lowest: number;
  readonly highest: number;
  /** First and last row that is seen. */
  readonly firstRow: number;
  readonly lastRow: number;
  readonly into: Float32Array;
}): void {
  const { columns, below, blurStart, altitudeStep, base, lowest, highest, into } = options;
  const { firstRow, lastRow } = options;
  const { heightCount, rowOffset, weight, weightAbove } = options.sight;
  for (let blur = 0; blur < 3; blur += 1) {
    const source = columns[blur]!;
    const [tapFrom, tapTo] = [blurStart[blur]!, blurStart[blur + 1]!];
    if (tapTo <= tapFrom) continue;
    // Rows from which no height of this blur reads a lit foot stay dark.
    const [down, up] = options.sight.reach[blur]!;
    const from = Math.max(firstRow, lowest - up);
    const to = Math.min(lastRow, highest - down);
    for (let row = from; row <= to; row += 1) {
      const start = altitudeStep[base + row]! * heightCount;
      const at = row + below;
      const end = start + tapTo;
      let sum = 0;
      for (let index = start + tapFrom; index < end; index += 1) {
        const read = at + rowOffset[index]!;
        sum += weight[index]! * source[read]!;
        if (blur === 0) sum += weightAbove[index]! * source[read + 1]!;
      }
      into[base + row] = into[base + row]! + sum;
    }
  }
}
