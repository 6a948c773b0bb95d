import { EARTH_RADIUS_KM } from "../sky/auroraGeometry.ts";
import { FOOT_KM, type FieldLineMap } from "./fieldLineMap.ts";

/** Cells of a Gaussian's table per unit of its exponent. */
const BELL_STEPS = 64;
const BELL = Float32Array.from({ length: BELL_STEPS * 6 + 2 }, (_, index) =>
  Math.exp(-index / BELL_STEPS),
);

/** How far a spot reaches, in standard deviations: beyond it is fainter than an eighteenth of its middle. */
const REACH_SIGMAS = 2.4;

/** Feet that lie less than this above the place's own horizon plane are out of sight, km. */
const FOOT_Z_KM_MIN = 6;

/** A spot in the cells of a map. */
type CellSpot = {
  readonly column: number;
  readonly row: number;
  readonly sigmaColumns: number;
  readonly sigmaRows: number;
  /** In its middle. */
  readonly top: number;
};

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
  const spot = spotOnMap(map, eastKm, northKm, peak, sigmaKm);
  if (spot !== null) addSpot(map, feet, spot);
}

/** Where a spot on the ground lies on a map; null where it is below the horizon. */
function spotOnMap(
  map: FieldLineMap,
  eastKm: number,
  northKm: number,
  peak: number,
  sigmaKm: number,
): CellSpot | null {
  // Above the horizon plane of a curved Earth; sine and cosine as series.
  const groundSquared = eastKm * eastKm + northKm * northKm;
  const bend = groundSquared / (EARTH_RADIUS_KM * EARTH_RADIUS_KM);
  const lift = 1 + FOOT_KM / EARTH_RADIUS_KM;
  const z = FOOT_KM - (groundSquared / (2 * EARTH_RADIUS_KM)) * lift * (1 - bend / 12);
  if (z < FOOT_Z_KM_MIN) return null;
  const scale = lift * (1 - bend / 6);
  const [east, north] = [eastKm * scale, northKm * scale];

  const { zenith, first, second } = map.axes;
  const alongFirst = east * first[0] + north * first[1] + z * first[2];
  const alongSecond = east * second[0] + north * second[1] + z * second[2];
  const away = Math.sqrt(alongFirst * alongFirst + alongSecond * alongSecond) + 0.3;
  const wide = Math.min(sigmaKm / (away * map.thetaStep), map.columnCount);
  const perKm = 1 / away + Math.sqrt(groundSquared) / (EARTH_RADIUS_KM * z);
  const tall = (sigmaKm * perKm) / map.wStep;
  const sigmaColumns = Math.max(0.6, wide);
  const sigmaRows = Math.max(1.1, tall);
  return {
    column: columnOf(map, Math.atan2(alongSecond, alongFirst), 3 * sigmaColumns),
    row: (Math.log(z / (zenith[2] * away)) - map.wStart) / map.wStep,
    sigmaColumns,
    sigmaRows,
    top: peak * (wide / sigmaColumns) * (tall / sigmaRows),
  };
}

/** Column of an angle; one just before an open map's first has turned almost once around. */
function columnOf(map: FieldLineMap, theta: number, margin: number): number {
  let turned = theta - map.thetaStart;
  turned -= 2 * Math.PI * Math.floor(turned / (2 * Math.PI));
  const column = turned / map.thetaStep;
  const beyond = (2 * Math.PI) / map.thetaStep;
  return !map.isCircle && column > beyond - margin ? column - beyond : column;
}

function addSpot(map: FieldLineMap, feet: Float32Array, spot: CellSpot): void {
  const { rowCount, columnCount, isCircle } = map;
  const { column, row, sigmaColumns, sigmaRows, top } = spot;
  const reachRows = REACH_SIGMAS * sigmaRows;
  const rowFrom = Math.max(0, Math.ceil(row - reachRows));
  const rowTo = Math.min(rowCount - 1, Math.floor(row + reachRows));
  if (rowTo < rowFrom) return;
  const [columnFrom, columnTo] = columnsOf(map, column, REACH_SIGMAS * sigmaColumns);
  const perColumn = BELL_STEPS / (2 * sigmaColumns * sigmaColumns);
  const perRow = BELL_STEPS / (2 * sigmaRows * sigmaRows);
  for (let at = columnFrom; at <= columnTo; at += 1) {
    const offColumn = at - column;
    const light = top * BELL[(offColumn * offColumn * perColumn) | 0]!;
    const wrapped = isCircle ? ((at % columnCount) + columnCount) % columnCount : at;
    const base = wrapped * rowCount;
    for (let down = rowFrom; down <= rowTo; down += 1) {
      const offRow = down - row;
      feet[base + down] = feet[base + down]! + light * BELL[(offRow * offRow * perRow) | 0]!;
    }
  }
}

/** First and last column within reach; in a closed map they count on, but never twice around. */
function columnsOf(
  { isCircle, columnCount }: FieldLineMap,
  column: number,
  reach: number,
): readonly [from: number, to: number] {
  const from = Math.ceil(column - reach);
  const to = Math.floor(column + reach);
  return isCircle
    ? [from, Math.min(to, from + columnCount - 1)]
    : [Math.max(0, from), Math.min(columnCount - 1, to)];
}
