import { RAD_PER_DEG } from "../sky/angles.ts";
import { directionOf, dot, type Direction } from "../sky/direction.ts";

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
export const MIN_SIN_ALTITUDE = 0.012;

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
