import { EARTH_RADIUS_KM } from "../sky/auroraGeometry.ts";
import { RAD_PER_DEG } from "../sky/angles.ts";
import { directionOf, dot, type Direction } from "./view.ts";

/**
 * A map of the sky in the coordinates of the magnetic field, in which a curtain is cheap to draw.
 *
 * Field lines are taken as straight and parallel, so all of them seem to meet in the magnetic
 * zenith. A cell's column is the angle θ about that point, and its row is W = ln(sin h / (b sin ρ)),
 * h being the altitude, ρ the distance from the magnetic zenith and b the field's upward part.
 * Then every field line stays in one column, and going up along it adds ln(z₂ / z₁) to W, where z is
 * the height above the place's own horizon plane (the Earth's curve is in z). Bright footpoints at
 * `FOOT_KM` therefore become curtains by one sum along each column.
 *
 * Left out: the field turns by a few degrees over the breadth of a wide frame.
 */
export type FieldLineMap = {
  readonly axes: FieldAxes;
  /** θ of the first column and the step between columns, radians. */
  readonly thetaStart: number;
  readonly thetaStep: number;
  readonly columnCount: number;
  /** Whether the columns close around the magnetic zenith. */
  readonly isCircle: boolean;
  readonly wStart: number;
  readonly wStep: number;
  readonly rowCount: number;
};

/** Height at which the footpoints of curtains are given, km: the peak of the green line. */
export const FOOT_KM = 110;

/** The magnetic zenith and the two directions from which θ is counted. */
export type FieldAxes = {
  readonly zenith: Direction;
  /** θ = 0: from the magnetic zenith toward the true zenith. */
  readonly first: Direction;
  /** θ = 90°. */
  readonly second: Direction;
};

/**
 * Axes for a field's dip and declination.
 *
 * @param inclinationDeg  Positive in the north; upward along the line is away from the pole.
 */
export function fieldAxes(inclinationDeg: number, declinationDeg: number): FieldAxes {
  // Never quite overhead: at the magnetic pole itself θ would have no zero.
  const dip = Math.min(89.5, Math.max(20, Math.abs(inclinationDeg)));
  const zenith = directionOf(inclinationDeg >= 0 ? declinationDeg + 180 : declinationDeg, dip);
  const across = Math.sqrt(1 - zenith[2] * zenith[2]);
  const first: Direction = [
    (-zenith[0] * zenith[2]) / across,
    (-zenith[1] * zenith[2]) / across,
    across,
  ];
  const second: Direction = [
    zenith[1] * first[2] - zenith[2] * first[1],
    zenith[2] * first[0] - zenith[0] * first[2],
    zenith[0] * first[1] - zenith[1] * first[0],
  ];
  return { zenith, first, second };
}

/** θ (radians) and W of a direction above the horizon. */
export function fieldCoordinates(
  axes: FieldAxes,
  direction: Direction,
): { readonly theta: number; readonly w: number } {
  const first = dot(direction, axes.first);
  const second = dot(direction, axes.second);
  const away = Math.max(0.012, Math.hypot(first, second));
  const up = Math.max(MIN_SIN_ALTITUDE, direction[2]);
  return { theta: Math.atan2(second, first), w: Math.log(up / (axes.zenith[2] * away)) };
}

/** Curtains lower than this are lost in the haze: sine of the altitude. */
const MIN_SIN_ALTITUDE = 0.012;

/**
 * A map that covers given directions with a margin, at a given fineness.
 *
 * @param stepRad  Wanted angle between columns well away from the magnetic zenith.
 */
export function fieldLineMap(
  axes: FieldAxes,
  directions: Iterable<Direction>,
  stepRad: number,
): FieldLineMap {
  let centre: number | null = null;
  let [low, high] = [0, 0];
  let [wLow, wHigh] = [Infinity, -Infinity];
  let isCircle = false;
  for (const direction of directions) {
    if (dot(direction, axes.zenith) > 0.985) isCircle = true;
    const { theta, w } = fieldCoordinates(axes, direction);
    centre ??= theta;
    const turned = wrap(theta - centre);
    [low, high] = [Math.min(low, turned), Math.max(high, turned)];
    [wLow, wHigh] = [Math.min(wLow, w), Math.max(wHigh, w)];
  }
  if (high - low > 300 * RAD_PER_DEG) isCircle = true;
  const span = isCircle ? 2 * Math.PI : high - low + 4 * stepRad;
  const columnCount = Math.max(4, Math.ceil(span / stepRad));
  const thetaStep = isCircle ? span / columnCount : stepRad;
  // W changes more than twice as fast as the angle it stands for.
  const wStep = stepRad * 2.4;
  // Room below for feet of lines whose upper parts only are in the picture.
  const wStart = Math.max(-4.6, wLow - 1.2);
  return {
    axes,
    thetaStart: (centre ?? 0) + (isCircle ? -Math.PI : low - 2 * stepRad),
    thetaStep,
    columnCount,
    isCircle,
    wStart,
    wStep,
    rowCount: Math.max(4, Math.ceil((wHigh - wStart) / wStep) + 3),
  };
}

function wrap(angle: number): number {
  return angle - 2 * Math.PI * Math.round(angle / (2 * Math.PI));
}

/** Column and row, with fractions, of a direction. */
export function cellOf(
  map: FieldLineMap,
  direction: Direction,
): { readonly column: number; readonly row: number } {
  const { theta, w } = fieldCoordinates(map.axes, direction);
  const middle = map.thetaStart + (map.columnCount * map.thetaStep) / 2;
  const column = (wrap(theta - middle) + middle - map.thetaStart) / map.thetaStep;
  return { column, row: (w - map.wStart) / map.wStep };
}

/** Altitude (radians) of every cell's row depends on the column too: sine of it. */
export function sinAltitudeOf(map: FieldLineMap, column: number, row: number): number {
  const theta = map.thetaStart + column * map.thetaStep;
  const w = Math.exp(map.wStart + row * map.wStep);
  // w = cot ρ + cos θ · tan c with c the magnetic zenith's distance from the true one.
  const bz = map.axes.zenith[2];
  const tanC = Math.sqrt(1 - bz * bz) / bz;
  const cotRho = w - Math.cos(theta) * tanC;
  const sinRho = 1 / Math.sqrt(1 + cotRho * cotRho);
  return Math.min(1, w * bz * sinRho);
}

/** How far outside a map, radians, an unfolded arc may lie and still swing into it. */
const SWING_RAD = 0.35;

/** Whether a footpoint lies within a map's columns or not far from them. */
export function isNearMap(map: FieldLineMap, eastKm: number, northKm: number): boolean {
  if (map.isCircle) return true;
  const half = (map.columnCount * map.thetaStep) / 2;
  if (half + SWING_RAD >= Math.PI) return true;
  const { first, second } = map.axes;
  const alongFirst = eastKm * first[0] + northKm * first[1] + FOOT_KM * first[2];
  const alongSecond = eastKm * second[0] + northKm * second[1] + FOOT_KM * second[2];
  const middle = map.thetaStart + half;
  const inward = alongFirst * Math.cos(middle) + alongSecond * Math.sin(middle);
  const away = Math.sqrt(alongFirst * alongFirst + alongSecond * alongSecond);
  return inward >= away * Math.cos(half + SWING_RAD) || away < 60;
}

/** Cells of a Gaussian's table per unit of its exponent. */
const BELL_STEPS = 64;
const BELL = Float32Array.from({ length: BELL_STEPS * 6 + 2 }, (_, index) =>
  Math.exp(-index / BELL_STEPS),
);

/**
 * Adds a round spot of light at a footpoint to the light of a map's footpoints (column by column).
 *
 * @param eastKm  Of the footpoint, along the ground; with `northKm`.
 * @param peak  In the middle of the spot; a spot smaller than a cell keeps its total light.
 * @param sigmaKm  Standard deviation.
 */
export function addFootSpot(
  map: FieldLineMap,
  feet: Float32Array,
  eastKm: number,
  northKm: number,
  peak: number,
  sigmaKm: number,
): void {
  const { axes, rowCount, columnCount } = map;
  const groundSquared = eastKm * eastKm + northKm * northKm;
  const bend = groundSquared / (EARTH_RADIUS_KM * EARTH_RADIUS_KM);
  const lift = 1 + FOOT_KM / EARTH_RADIUS_KM;
  const z = FOOT_KM - (groundSquared / (2 * EARTH_RADIUS_KM)) * lift * (1 - bend / 12);
  if (z < 6) return;
  const scale = lift * (1 - bend / 6);
  const [east, north] = [eastKm * scale, northKm * scale];
  const { zenith, first, second } = axes;
  const alongFirst = east * first[0] + north * first[1] + z * first[2];
  const alongSecond = east * second[0] + north * second[1] + z * second[2];
  const away = Math.sqrt(alongFirst * alongFirst + alongSecond * alongSecond) + 0.3;
  const theta = Math.atan2(alongSecond, alongFirst);
  let turned = theta - map.thetaStart;
  turned -= 2 * Math.PI * Math.floor(turned / (2 * Math.PI));
  let column = turned / map.thetaStep;
  const beyond = (2 * Math.PI) / map.thetaStep;
  const wide = Math.min(sigmaKm / (away * map.thetaStep), columnCount);
  const sigmaColumns = Math.max(0.6, wide);
  // A spot just before the first column has turned almost once around.
  if (!map.isCircle && column > beyond - 3 * sigmaColumns) column -= beyond;
  const row = (Math.log(z / (zenith[2] * away)) - map.wStart) / map.wStep;
  const perKm = 1 / away + Math.sqrt(groundSquared) / (EARTH_RADIUS_KM * z);
  const tall = (sigmaKm * perKm) / map.wStep;
  const sigmaRows = Math.max(1.1, tall);
  const top = peak * (wide / sigmaColumns) * (tall / sigmaRows);

  const reachColumns = 2.4 * sigmaColumns;
  const reachRows = 2.4 * sigmaRows;
  const rowFrom = Math.max(0, Math.ceil(row - reachRows));
  const rowTo = Math.min(rowCount - 1, Math.floor(row + reachRows));
  if (rowTo < rowFrom) return;
  let columnFrom = Math.ceil(column - reachColumns);
  let columnTo = Math.floor(column + reachColumns);
  if (map.isCircle) {
    if (columnTo - columnFrom >= columnCount) columnTo = columnFrom + columnCount - 1;
  } else {
    columnFrom = Math.max(0, columnFrom);
    columnTo = Math.min(columnCount - 1, columnTo);
  }
  const perColumn = BELL_STEPS / (2 * sigmaColumns * sigmaColumns);
  const perRow = BELL_STEPS / (2 * sigmaRows * sigmaRows);
  for (let at = columnFrom; at <= columnTo; at += 1) {
    const offColumn = at - column;
    const light = top * BELL[(offColumn * offColumn * perColumn) | 0]!;
    const wrapped = map.isCircle ? ((at % columnCount) + columnCount) % columnCount : at;
    const base = wrapped * rowCount;
    for (let down = rowFrom; down <= rowTo; down += 1) {
      const offRow = down - row;
      feet[base + down] = feet[base + down]! + light * BELL[(offRow * offRow * perRow) | 0]!;
    }
  }
}

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
    const cosine = Math.sqrt(1 - sine * sine);
    for (let tap = 0; tap < heightCount; tap += 1) {
      const heightKm = profile.heightsKm[tap]! + shiftKm;
      const slant =
        -EARTH_RADIUS_KM * sine +
        Math.sqrt(
          (EARTH_RADIUS_KM * sine) ** 2 + 2 * EARTH_RADIUS_KM * heightKm + heightKm * heightKm,
        );
      const z = slant * sine;
      const across = slant * cosine;
      const footZ = Math.sqrt((EARTH_RADIUS_KM + FOOT_KM) ** 2 - across * across) - EARTH_RADIUS_KM;
      const at = step * heightCount + tap;
      const crossing = Math.sqrt(
        1 - ((EARTH_RADIUS_KM * cosine) / (EARTH_RADIUS_KM + heightKm)) ** 2,
      );
      if (footZ < 3) continue;
      const rows = Math.log(footZ / z) / map.wStep;
      const light = profile.shares[tap]! / crossing;
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

/** Feet fainter than this leave no trace: a thousandth of the natural sky. */
const FAINT_KR = 1e-3;
