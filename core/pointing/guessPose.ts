import { cross, dot, unit, type Direction, type Rotation } from "../sky/direction.ts";
import { RAD_PER_DEG } from "../sky/angles.ts";
import { chanceLog10 } from "./chance.ts";
import { rayAt, type LensModel } from "./lensModel.ts";
import type { Detection } from "./detection.ts";
import type { StarsAbove } from "./starsAbove.ts";

/** A camera's stand that two stars suggest, and how many of the brightest detections it explains. */
export type PoseGuess = {
  readonly rotation: Rotation;
  readonly lens: LensModel;
  readonly hits: number;
};

/** How wide the search is. */
export type GuessEffort = {
  /** How many of the brightest detections take part. */
  readonly detectionsMax: number;
  /** How many of the brightest stars above the horizon take part. */
  readonly starsMax: number;
  /** Doubt of an angle between two stars, as a share of it: focal length and distortion. */
  readonly angleShare: number;
};

/** Part of the frame's width by which a star may miss in a guess. */
const MISS_SHARE = 0.012;
const MISS_DEG = 0.12;
const MISS_DEG_MAX = 2;

/** Two detections nearer to each other than this share of the width say too little of the turn. */
const PAIR_SHARE_MIN = 0.12;

/** Guesses that are handed on; a true one stands among the best few. */
const GUESSES_MAX = 30;

/** Fewer hits than this, the pair's own two among them, say nothing. */
const HITS_MIN = 5;

/** Doubt of an angle between two stars besides that of the scale, radians. */
const ANGLE_DOUBT = 0.003;

/** A guess that chance would give less often than this, as a power of ten, is followed at once. */
const LIKELY_LOG10 = -5;

/**
 * Looks for how the camera stands without knowing anything but the focal length: every pair of
 * bright detections is laid on every pair of bright stars at the same angle, which leaves no freedom,
 * and the other detections are looked up in a map of the stars.
 *
 * @param enough  Called with each guess that explains most detections; true ends the search.
 * @returns The best guesses, best first; none where less than two detections take part.
 */
export function guessPoses(options: {
  readonly detections: readonly Detection[];
  readonly stars: StarsAbove;
  readonly lens: LensModel;
  readonly effort: GuessEffort;
  readonly enough: (guess: PoseGuess) => boolean;
}): readonly PoseGuess[] {
  const { lens, effort, enough } = options;
  const rays = options.detections
    .slice(0, effort.detectionsMax)
    .map(({ xPx, yPx }) => unit(rayAt(lens, xPx, yPx)));
  const starCount = Math.min(options.stars.count, effort.starsMax);
  const directions = options.stars.directions;
  const missDeg = missOf(lens);
  const map = drawStarMap(directions, starCount, missDeg);
  const likelyHits = likelyHitsOf(rays.length, starCount, missDeg);
  const widestCos = Math.min(
    ...rays.map((ray, at) => Math.min(1, ...rays.slice(at + 1).map((other) => dot(ray, other)))),
  );
  const pairs = starPairs(directions, starCount, Math.acos(Math.max(-1, widestCos)) * 1.1);
  const best: PoseGuess[] = [];
  const tried = new Set<number>();
  const closest = (PAIR_SHARE_MIN * lens.widthPx) / lens.pxPerRad;
  const flat = Float64Array.from(rays.flat());
  const turn = new Float64Array(9);

  // Brightest pairs first: (0, 1), (0, 2), (1, 2), (0, 3) …
  for (let later = 1; later < rays.length; later += 1) {
    for (let first = 0; first < later; first += 1) {
      const [a, b] = [rays[first]!, rays[later]!];
      const angle = Math.acos(Math.min(1, Math.max(-1, dot(a, b))));
      if (angle < closest) continue;
      const doubt = angle * effort.angleShare + ANGLE_DOUBT;
      const [from, to] = pairs.range(angle - doubt, angle + doubt);
      const frame = Float64Array.from(pairFrame(a, b).flat());
      for (let pair = from; pair < to; pair += 1) {
        // One star on the first detection, or the other.
        for (let swap = 1; swap >= -1; swap -= 2) {
          turnOf(turn, frame, pairs.frames, 9 * pair, swap);
          const atLeast = best.length < GUESSES_MAX ? HITS_MIN : best.at(-1)!.hits + 1;
          const hits = countHits(map, flat, turn, atLeast);
          if (hits < atLeast) continue;
          const key = keyOf(turn);
          if (tried.has(key)) continue;
          tried.add(key);
          const guess: PoseGuess = { rotation: rotationOf(turn), lens, hits };
          if (hits >= likelyHits && enough(guess)) return [guess];
          insertByHits(best, guess);
        }
      }
    }
  }
  return best;
}

function missOf(lens: LensModel): number {
  const widthDeg = (2 * Math.atan(lens.widthPx / 2 / lens.pxPerRad)) / RAD_PER_DEG;
  return Math.min(MISS_DEG_MAX, MISS_DEG + MISS_SHARE * widthDeg);
}

/** How many hits chance does not give: two of them are the pair's own. */
function likelyHitsOf(trials: number, starCount: number, missDeg: number): number {
  // Share of the half sphere that lies within reach of a star.
  const probability = Math.min(0.9, (starCount * (missDeg * RAD_PER_DEG) ** 2) / 2);
  for (let hits = 3; hits < trials - 2; hits += 1) {
    if (chanceLog10({ trials: trials - 2, hits, probability }) < LIKELY_LOG10) return hits + 2;
  }
  return Infinity;
}

function starAt(directions: Float64Array, star: number): Direction {
  return [directions[3 * star]!, directions[3 * star + 1]!, directions[3 * star + 2]!];
}

/** Three axes at right angles that two directions span, the first halfway between them. */
function pairFrame(a: Direction, b: Direction): Rotation {
  const middle = unit([a[0] + b[0], a[1] + b[1], a[2] + b[2]]);
  const side = unit(cross(a, b));
  return [middle, side, cross(middle, side)];
}

/**
 * The camera's turn that brings a pair of stars onto a pair of detections, written row by row. The
 * camera's axes are left-handed, so the side axis of the stars points the other way.
 *
 * @param swap  −1 exchanges the two stars, which turns their side and third axis about.
 */
function turnOf(
  into: Float64Array,
  frame: Float64Array,
  frames: Float64Array,
  at: number,
  swap: number,
): void {
  for (let row = 0; row < 3; row += 1) {
    const m = frame[row]!;
    const n = -swap * frame[3 + row]!;
    const o = swap * frame[6 + row]!;
    for (let column = 0; column < 3; column += 1) {
      into[3 * row + column] =
        m * frames[at + column]! + n * frames[at + 3 + column]! + o * frames[at + 6 + column]!;
    }
  }
}

function rotationOf(turn: Float64Array): Rotation {
  const row = (at: number): Direction => [turn[at]!, turn[at + 1]!, turn[at + 2]!];
  return [row(0), row(3), row(6)];
}

/** Which parts of the sky have a bright star near: a map by stereographic projection from below. */
type StarMap = { readonly near: Uint8Array };

const MAP_SIDE = 512;
const MAP_HALF = MAP_SIDE / 2;
/** Cells to a unit of the projection; the horizon is the unit circle. */
const MAP_SCALE = MAP_HALF / 1.02;

function drawStarMap(directions: Float64Array, count: number, missDeg: number): StarMap {
  const near = new Uint8Array(MAP_SIDE * MAP_SIDE);
  const miss = missDeg * RAD_PER_DEG;
  for (let star = 0; star < count; star += 1) {
    const [east, north, up] = starAt(directions, star);
    const x = MAP_HALF + (MAP_SCALE * east) / (1 + up);
    const y = MAP_HALF + (MAP_SCALE * north) / (1 + up);
    // A radian at this height is so many cells.
    const reach = (MAP_SCALE * miss) / (1 + up);
    for (
      let row = Math.max(0, Math.ceil(y - reach));
      row <= Math.min(MAP_SIDE - 1, y + reach);
      row += 1
    ) {
      const half = Math.sqrt(Math.max(0, reach * reach - (row - y) ** 2));
      const to = Math.min(MAP_SIDE - 1, x + half);
      for (let column = Math.max(0, Math.ceil(x - half)); column <= to; column += 1) {
        near[row * MAP_SIDE + column] = 1;
      }
    }
  }
  return { near };
}

/**
 * After so many detections a guess with fewer hits is dropped: a true one comes once for every pair of
 * true stars, and most of these pass.
 */
const LOOK_AFTER = 8;
const LOOK_HITS = 3;

/** How many detections have a star near; gives up once `atLeast` cannot be reached any more. */
function countHits(
  { near }: StarMap,
  rays: Float64Array,
  turn: Float64Array,
  atLeast: number,
): number {
  // By place: taking a typed array apart goes through its iterator, which is ten times slower.
  const [r0, r1, r2] = [turn[0]!, turn[1]!, turn[2]!];
  const [u0, u1, u2] = [turn[3]!, turn[4]!, turn[5]!];
  const [f0, f1, f2] = [turn[6]!, turn[7]!, turn[8]!];
  let hits = 0;
  let left = rays.length / 3;
  const leftAtLook = left - LOOK_AFTER;
  for (let at = 0; at < rays.length; at += 3) {
    left -= 1;
    const [x, y, z] = [rays[at]!, rays[at + 1]!, rays[at + 2]!];
    const height = r2 * x + u2 * y + f2 * z;
    if (height > -0.02) {
      const scale = MAP_SCALE / (1 + height);
      const column = (MAP_HALF + (r0 * x + u0 * y + f0 * z) * scale + 0.5) | 0;
      const row = (MAP_HALF + (r1 * x + u1 * y + f1 * z) * scale + 0.5) | 0;
      hits += near[row * MAP_SIDE + column]!;
    }
    if (hits + left < atLeast || (left === leftAtLook && hits < LOOK_HITS)) return 0;
  }
  return hits;
}

/** Pairs of stars, sorted by their angle. */
type StarPairs = {
  /** `pairFrame` of each pair, nine numbers. */
  readonly frames: Float64Array;
  /** Places of the pairs whose angle lies in a range, radians. */
  range(from: number, to: number): readonly [number, number];
};

/** Steps of the angle by which pairs are sorted, radians. */
const ANGLE_STEP = 0.002;

function starPairs(directions: Float64Array, count: number, widest: number): StarPairs {
  const cosWidest = Math.cos(Math.min(Math.PI, widest));
  const steps = Math.ceil(Math.min(Math.PI, widest) / ANGLE_STEP) + 2;
  const starts = new Uint32Array(steps + 1);
  const found: number[] = [];
  for (let one = 1; one < count; one += 1) {
    const [x, y, z] = starAt(directions, one);
    for (let two = 0; two < one; two += 1) {
      const at = 3 * two;
      const cosine = x * directions[at]! + y * directions[at + 1]! + z * directions[at + 2]!;
      if (cosine < cosWidest) continue;
      const step = (Math.acos(Math.min(1, cosine)) / ANGLE_STEP) | 0;
      starts[step + 1]! += 1;
      found.push(step, one, two);
    }
  }
  for (let step = 0; step < steps; step += 1) starts[step + 1]! += starts[step]!;
  const next = starts.slice();
  const frames = new Float64Array(3 * found.length);
  for (let at = 0; at < found.length; at += 3) {
    const place = next[found[at]!]!++;
    const frame = pairFrame(starAt(directions, found[at + 1]!), starAt(directions, found[at + 2]!));
    for (let axis = 0; axis < 3; axis += 1) frames.set(frame[axis]!, 9 * place + 3 * axis);
  }
  const startOf = (angle: number): number =>
    starts[Math.min(steps, Math.max(0, Math.floor(angle / ANGLE_STEP)))]!;
  return { frames, range: (from, to) => [startOf(from), startOf(to + ANGLE_STEP)] };
}

/** Coarse name of a turn: guesses within a degree or two share it. */
function keyOf(turn: Float64Array): number {
  let key = 0;
  for (const at of [2, 5, 6, 7, 8]) key = key * 64 + Math.round((turn[at]! + 1) * 31);
  return key;
}

function insertByHits(best: PoseGuess[], guess: PoseGuess): void {
  let at = best.length;
  while (at > 0 && best[at - 1]!.hits < guess.hits) at -= 1;
  best.splice(at, 0, guess);
  if (best.length > GUESSES_MAX) best.pop();
}
