import type { Direction } from "../sky/direction.ts";
import type { Detection } from "./detection.ts";
import type { Pose, StarPair } from "./fitPose.ts";
import { pointAt } from "./lensModel.ts";
import type { StarsAbove } from "./starsAbove.ts";

/** Detections sorted into squares, so that the nearest to a point is found at once. */
export type DetectionGrid = {
  readonly detections: readonly Detection[];
  /** The nearest detection within a reach, pixels; −1: none. */
  nearest(xPx: number, yPx: number, reachPx: number): number;
};

/** Side of a square, pixels. */
const SQUARE_PX = 32;

/** Sorts detections into squares. */
export function detectionGrid(
  detections: readonly Detection[],
  { widthPx, heightPx }: { readonly widthPx: number; readonly heightPx: number },
): DetectionGrid {
  const columns = Math.ceil(widthPx / SQUARE_PX) + 1;
  const rows = Math.ceil(heightPx / SQUARE_PX) + 1;
  const squares = new Map<number, number[]>();
  detections.forEach(({ xPx, yPx }, at) => {
    const square = Math.floor(yPx / SQUARE_PX) * columns + Math.floor(xPx / SQUARE_PX);
    const held = squares.get(square);
    if (held === undefined) squares.set(square, [at]);
    else held.push(at);
  });
  const nearest = (xPx: number, yPx: number, reachPx: number): number => {
    let [best, distance] = [-1, reachPx * reachPx];
    const first = (value: number): number => Math.max(0, Math.floor((value - reachPx) / SQUARE_PX));
    const last = (value: number, count: number): number =>
      Math.min(count - 1, Math.floor((value + reachPx) / SQUARE_PX));
    for (let row = first(yPx); row <= last(yPx, rows); row += 1) {
      for (let column = first(xPx); column <= last(xPx, columns); column += 1) {
        for (const at of squares.get(row * columns + column) ?? []) {
          const { xPx: x, yPx: y } = detections[at]!;
          const square = (x - xPx) ** 2 + (y - yPx) ** 2;
          if (square < distance) [best, distance] = [at, square];
        }
      }
    }
    return best;
  };
  return { detections, nearest };
}

/** Stars that a pose puts into the picture, brightest first. */
type StarsInFrame = {
  /** Places among the stars above the horizon. */
  readonly star: readonly number[];
  readonly xPx: readonly number[];
  readonly yPx: readonly number[];
};

/** Where a pose puts the stars in the picture, the brightest `countMax` of them. */
export function starsInFrame(pose: Pose, stars: StarsAbove, countMax: number): StarsInFrame {
  const { rotation, lens } = pose;
  const [right, up, forward] = rotation;
  const found = { star: [] as number[], xPx: [] as number[], yPx: [] as number[] };
  const { directions } = stars;
  // The corner of the picture, with room to spare for the lens's terms.
  const edge = (1.15 * Math.hypot(lens.widthPx, lens.heightPx)) / 2 / lens.pxPerRad;
  const forwardMin = 1 / Math.hypot(1, edge);
  for (let star = 0; star < stars.count && found.star.length < countMax; star += 1) {
    const [x, y, z] = [directions[3 * star]!, directions[3 * star + 1]!, directions[3 * star + 2]!];
    const ahead = forward[0] * x + forward[1] * y + forward[2] * z;
    if (ahead < forwardMin) continue;
    const point = pointAt(lens, [
      right[0] * x + right[1] * y + right[2] * z,
      up[0] * x + up[1] * y + up[2] * z,
      ahead,
    ]);
    if (point === null || point[0] < 0 || point[1] < 0) continue;
    if (point[0] >= lens.widthPx || point[1] >= lens.heightPx) continue;
    found.star.push(star);
    found.xPx.push(point[0]);
    found.yPx.push(point[1]);
  }
  return found;
}

/** A star of the catalogue and the detection that lies where it should. */
export type StarMatch = {
  /** Place among the stars above the horizon. */
  readonly star: number;
  /** Place among the detections. */
  readonly detection: number;
};

/** Pairs stars with the detections nearest to them, each once, the nearer of two claims winning. */
export function matchStars(
  inFrame: StarsInFrame,
  grid: DetectionGrid,
  reachPx: number,
): readonly StarMatch[] {
  const claims = new Map<number, { star: number; distance: number }>();
  for (let at = 0; at < inFrame.star.length; at += 1) {
    const [x, y] = [inFrame.xPx[at]!, inFrame.yPx[at]!];
    const detection = grid.nearest(x, y, reachPx);
    if (detection < 0) continue;
    const { xPx, yPx } = grid.detections[detection]!;
    const distance = (xPx - x) ** 2 + (yPx - y) ** 2;
    const claim = claims.get(detection);
    if (claim === undefined || distance < claim.distance) {
      claims.set(detection, { star: inFrame.star[at]!, distance });
    }
  }
  return [...claims].map(([detection, { star }]) => ({ star, detection }));
}

/** Share of the refraction that weather makes doubtful, as pixels per radian of focal length. */
const REFRACTION_DOUBT = 0.05;

/** The pairs that a fit is made of; near the horizon the air adds its doubt. */
export function pairsOf(
  matches: readonly StarMatch[],
  stars: StarsAbove,
  detections: readonly Detection[],
  pxPerRad: number,
): StarPair[] {
  return matches.map(({ star, detection }) => {
    const at = 3 * star;
    const direction: Direction = [
      stars.directions[at]!,
      stars.directions[at + 1]!,
      stars.directions[at + 2]!,
    ];
    // About 1′ over the tangent of the altitude; enough for its doubt.
    const refraction = 2.9e-4 / Math.max(0.02, direction[2]);
    const { xPx, yPx } = detections[detection]!;
    return { direction, xPx, yPx, sigmaPx: REFRACTION_DOUBT * refraction * pxPerRad };
  });
}
