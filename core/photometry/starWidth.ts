import { medianOfRising, valueAtShareOfRising } from "../statistics.ts";
import { cellSize, CLIPPED_CODE } from "./cells.ts";
import { LUMINANCE_WEIGHTS } from "./srgb.ts";
import { TABLE_STEPS } from "./response.ts";

/** A star as it was measured. */
export type MeasuredStar = {
  readonly x: number;
  readonly y: number;
  /** Full width at half maximum, pixels, of the image it was found in. */
  readonly widthPx: number;
  /** Longest over shortest width, ≥ 1; a trailed star is long. */
  readonly elongation: number;
  /** Light over the sky's, summed over its pixels; 1 is one pixel of mid-grey. */
  readonly light: number;
  /** Peak over the noise of one pixel. */
  readonly signalToNoise: number;
};

/** The stars of one image. */
export type StarField = {
  /** Brightest first. */
  readonly stars: readonly MeasuredStar[];
  /** Median width of stars that are bright enough to measure; null: fewer than `STARS_MIN`. */
  readonly widthPx: number | null;
  /**
   * Mean light of the brightest `LIGHT_STARS`, in stops of pixel · mid-grey; null: too few. Dew and
   * frost lower it while they raise the width; compare frames after taking their exposures off.
   */
  readonly lightStops: number | null;
};

/** A preview in which stars are looked for. */
type StarImage = {
  readonly widthPx: number;
  readonly heightPx: number;
  /** sRGB, three bytes a pixel. */
  readonly rgb: Uint8Array;
};

/** Fewer stars than this give no width: one hot pixel must not pass for focus. */
const STARS_MIN = 5;
const LIGHT_STARS = 20;
/** A star's peak stands this far over the noise. */
const SIGNAL_TO_NOISE_MIN = 5;
const SIGNAL_TO_NOISE_FOR_WIDTH = 10;
/** Codes over the surroundings below which JPEG coding makes specks of its own. */
const CODES_MIN = 7;

/** How stars are looked for. */
type StarOptions = {
  /** Light of every eighth of a code (`lightTable`). */
  readonly table: Float32Array;
  /** 1 where a cell (side `cellSize(widthPx)`) may hold stars; absent: everywhere. */
  readonly isSky?: Uint8Array;
  /** How many of the brightest candidates are measured; default 250. */
  readonly candidatesMax?: number;
  /** Half side of the largest stamp that is tried, pixels; default 24, for stars up to 12 px wide. */
  readonly stampRadiusMax?: number;
};

/**
 * Finds stars and measures their widths.
 *
 * Candidates are local maxima over their surroundings; each is measured by second moments under a
 * Gaussian weight that is matched to it (adaptive moments). Clipped stars are left out.
 * Accuracy: within 10 % for widths of 1.5 to 12 px at a signal to noise of 10 and more.
 * Source: Bernstein & Jarvis 2002, Hirata & Seljak 2003 (adaptive moments); FWHM = 2.3548 σ.
 */
export function findStars(image: StarImage, options: StarOptions): StarField {
  const { table, candidatesMax = 250, stampRadiusMax = 24 } = options;
  const light = pixelTables(table);
  const stars: MeasuredStar[] = [];
  for (const candidate of candidatesOf(image, candidatesMax, options.isSky)) {
    const star = measureStar(image, light, candidate, stampRadiusMax);
    if (star !== null && !isTwin(stars, star)) stars.push(star);
  }
  return starFieldOf(stars);
}

/** The width and light of a set of stars. */
export function starFieldOf(measured: readonly MeasuredStar[]): StarField {
  const stars = measured.toSorted((a, b) => b.light - a.light);
  const widths = stars
    .filter((star) => star.signalToNoise >= SIGNAL_TO_NOISE_FOR_WIDTH)
    .map((star) => star.widthPx)
    .sort((a, b) => a - b);
  const bright = stars.slice(0, LIGHT_STARS);
  return {
    stars,
    widthPx: widths.length >= STARS_MIN ? medianOfRising(widths) : null,
    lightStops:
      bright.length >= STARS_MIN
        ? Math.log2(bright.reduce((sum, star) => sum + star.light, 0) / bright.length)
        : null,
  };
}

function isTwin(stars: readonly MeasuredStar[], star: MeasuredStar): boolean {
  return stars.some((other) => {
    const reach = Math.max(2, star.widthPx, other.widthPx);
    return Math.abs(other.x - star.x) < reach && Math.abs(other.y - star.y) < reach;
  });
}

type Candidate = { readonly x: number; readonly y: number; readonly over: number };

/** Side of the tiles over whose mean a star must rise; wider than any star that can be measured. */
const TILE_PX = 40;

/** Local maxima of green over the mean of their tile, brightest first. */
function candidatesOf(
  { widthPx, heightPx, rgb }: StarImage,
  candidatesMax: number,
  isSky?: Uint8Array,
): Candidate[] {
  const cellPx = Math.min(cellSize(widthPx), heightPx);
  const columns = Math.floor(widthPx / cellPx);
  const rows = Math.floor(heightPx / cellPx);
  const found: Candidate[] = [];
  const stride = widthPx * 3;
  const edge = 4;
  for (let top = edge; top < heightPx - edge; top += TILE_PX) {
    const bottom = Math.min(heightPx - edge, top + TILE_PX);
    for (let left = edge; left < widthPx - edge; left += TILE_PX) {
      const right = Math.min(widthPx - edge, left + TILE_PX);
      const { mean, limit } = tileLimit(rgb, stride, { left, right, top, bottom });
      for (let y = top; y < bottom; y += 1) {
        for (let x = left; x < right; x += 1) {
          const code = rgb[y * stride + x * 3 + 1]!;
          if (code <= limit || !isLocalMaximum(rgb, stride, x, y, code)) continue;
          const row = Math.min(rows - 1, Math.floor(y / cellPx));
          const column = Math.min(columns - 1, Math.floor(x / cellPx));
          if (isSky !== undefined && isSky[row * columns + column] === 0) continue;
          found.push({ x, y, over: code - mean });
        }
      }
    }
  }
  return found.sort((a, b) => b.over - a.over).slice(0, candidatesMax);
}

type Tile = { left: number; right: number; top: number; bottom: number };

/** Mean of a tile's codes, every other pixel each way, and the code above which stars are sought. */
function tileLimit(rgb: Uint8Array, stride: number, { left, right, top, bottom }: Tile) {
  let [sum, squares, count] = [0, 0, 0];
  for (let y = top; y < bottom; y += 2) {
    const end = y * stride + right * 3 + 1;
    for (let at = y * stride + left * 3 + 1; at < end; at += 6) {
      const code = rgb[at]!;
      sum += code;
      squares += code * code;
      count += 1;
    }
  }
  const mean = sum / count;
  const spread = Math.sqrt(Math.max(0, squares / count - mean * mean));
  return { mean, limit: mean + Math.max(CODES_MIN, 2 * spread) };
}

function isLocalMaximum(rgb: Uint8Array, stride: number, x: number, y: number, code: number) {
  for (let dy = -2; dy <= 2; dy += 1) {
    for (let dx = -2; dx <= 2; dx += 1) {
      const other = rgb[(y + dy) * stride + (x + dx) * 3 + 1]!;
      // Of equals the first in reading order is the maximum.
      if (other > code || (other === code && (dy < 0 || (dy === 0 && dx < 0)))) return false;
    }
  }
  return true;
}

/** Luminance parts of each whole code, per channel. */
type PixelTables = { red: Float32Array; green: Float32Array; blue: Float32Array };

function pixelTables(table: Float32Array): PixelTables {
  const scaled = (weight: number): Float32Array =>
    Float32Array.from({ length: 256 }, (_, code) => weight * table[code * TABLE_STEPS]!);
  return {
    red: scaled(LUMINANCE_WEIGHTS.red),
    green: scaled(LUMINANCE_WEIGHTS.green),
    blue: scaled(LUMINANCE_WEIGHTS.blue),
  };
}

/** Half sides of the stamps that are tried, pixels; a star must fit well inside its stamp. */
const STAMP_RADII = [7, 14, 24] as const;

function measureStar(
  image: StarImage,
  light: PixelTables,
  at: Candidate,
  radiusMax: number,
): MeasuredStar | null {
  for (const radius of STAMP_RADII) {
    if (radius > radiusMax) return null;
    const stamp = cutStamp(image, light, at, radius);
    if (stamp === null) return null;
    const star = adaptiveMoments(stamp, at);
    if (star.kind === "tooWide") continue;
    return star.kind === "star" ? star.measured : null;
  }
  return null;
}

type Stamp = { readonly radius: number; readonly values: Float32Array; readonly noise: number };

/** Light over the local sky in a square around a candidate; null when clipped or at the edge. */
function cutStamp(
  { widthPx, heightPx, rgb }: StarImage,
  light: PixelTables,
  { x, y }: Candidate,
  radius: number,
): Stamp | null {
  if (x < radius || y < radius || x >= widthPx - radius || y >= heightPx - radius) return null;
  const side = 2 * radius + 1;
  const values = new Float32Array(side * side);
  const border: number[] = [];
  for (let row = 0, index = 0; row < side; row += 1) {
    for (let column = 0; column < side; column += 1, index += 1) {
      const pixel = ((y + row - radius) * widthPx + x + column - radius) * 3;
      const near = Math.abs(row - radius) <= 2 && Math.abs(column - radius) <= 2;
      if (near && rgb[pixel + 1]! >= CLIPPED_CODE) return null;
      const value =
        light.red[rgb[pixel]!]! + light.green[rgb[pixel + 1]!]! + light.blue[rgb[pixel + 2]!]!;
      values[index] = value;
      if (row < 2 || column < 2 || row >= side - 2 || column >= side - 2) border.push(value);
    }
  }
  border.sort((a, b) => a - b);
  const sky = medianOfRising(border);
  // Deviation from the quartiles: other stars in the border do not count. 1.349 σ lie between them.
  const [low, high] = [0.25, 0.75].map((share) => valueAtShareOfRising(border, share)!);
  const noise = (high! - low!) / 1.349;
  for (let index = 0; index < values.length; index += 1) values[index]! -= sky;
  return { radius, values, noise: Math.max(noise, 0.004 * sky + 1e-5) };
}

const MOMENT_ITERATIONS = 12;
const WEIGHT_VARIANCE_MIN = 1;
/**
 * Half the variance of a pixel's own square (1/12): what is drawn may have been averaged over the
 * pixel, as in a sensor, or not, as in many a rendering; this way either is right within 5 %.
 */
const HALF_PIXEL_VARIANCE = 1 / 24;
const FWHM_PER_SIGMA = 2.354820045;
/** A pixel-wide spike has no more than this variance: a hot pixel, not a star. */
const SPIKE_VARIANCE = 0.12;

/** What a weight that was fitted to a stamp shows; a star that is too wide wants a larger stamp. */
type Fitted =
  | { readonly kind: "star"; readonly measured: MeasuredStar }
  | { readonly kind: "tooWide" }
  | { readonly kind: "noStar" };

const NO_STAR: Fitted = { kind: "noStar" };

/** Widens and moves a Gaussian weight until it fits the star, and measures the star by it. */
function adaptiveMoments(stamp: Stamp, at: Candidate): Fitted {
  const { radius, values, noise } = stamp;
  if (values[values.length >> 1]! < SIGNAL_TO_NOISE_MIN * 0.8 * noise) return NO_STAR;
  let [cx, cy] = [0, 0];
  let shape: Moments = [radius / 3, 0, radius / 3];
  let light = 0;
  for (let iteration = 0; iteration < MOMENT_ITERATIONS; iteration += 1) {
    const { sum, weights, mx, my, moments, inverse, determinant } = weighted(stamp, cx, cy, shape);
    if (sum <= 0) return NO_STAR;
    light = (sum / weights) * 2 * Math.PI * Math.sqrt(determinant);
    cx += Math.max(-1, Math.min(1, mx));
    cy += Math.max(-1, Math.min(1, my));
    if (Math.hypot(cx, cy) > Math.max(2, radius / 3)) return NO_STAR;
    const next = unweighted(moments, inverse);
    if (next === null || Math.max(next[0], next[2]) > (radius / 2.5) ** 2)
      return { kind: "tooWide" };
    shape = next;
  }
  const measured = starOf(shape, { x: at.x + cx, y: at.y + cy, light, noise });
  return measured === null ? NO_STAR : { kind: "star", measured };
}

/** Second moments: along x, mixed, along y. */
type Moments = readonly [xx: number, xy: number, yy: number];

/** Sums of a stamp under a Gaussian weight about a centre. */
function weighted({ radius, values }: Stamp, cx: number, cy: number, [xx, xy, yy]: Moments) {
  const side = 2 * radius + 1;
  // A weight narrower than a pixel or so would be sampled too coarsely to be a weight.
  const [wxx, wyy] = [Math.max(xx, WEIGHT_VARIANCE_MIN), Math.max(yy, WEIGHT_VARIANCE_MIN)];
  const determinant = wxx * wyy - xy * xy;
  const [ixx, ixy, iyy] = [wyy / determinant, -xy / determinant, wxx / determinant];
  let [sum, sx, sy, mxx, mxy, myy, weights] = [0, 0, 0, 0, 0, 0, 0];
  for (let row = 0, index = 0; row < side; row += 1) {
    const dy = row - radius - cy;
    for (let column = 0; column < side; column += 1, index += 1) {
      const dx = column - radius - cx;
      const distance = ixx * dx * dx + 2 * ixy * dx * dy + iyy * dy * dy;
      if (distance > 16) continue;
      const weight = Math.exp(-0.5 * distance);
      const value = weight * values[index]!;
      sum += value;
      sx += value * dx;
      sy += value * dy;
      mxx += value * dx * dx;
      mxy += value * dx * dy;
      myy += value * dy * dy;
      weights += weight * weight;
    }
  }
  const [mx, my] = [sx / sum, sy / sum];
  const moments: Moments = [mxx / sum - mx * mx, mxy / sum - mx * my, myy / sum - my * my];
  const inverse: Moments = [ixx, ixy, iyy];
  return { sum, weights, mx, my, moments, inverse, determinant };
}

/** A star by its own moments; null for a hot pixel, a streak, or what drowns in the noise. */
function starOf(
  [xx, xy, yy]: Moments,
  { x, y, light, noise }: Record<"x" | "y" | "light" | "noise", number>,
): MeasuredStar | null {
  const mean = (xx + yy) / 2;
  const spread = Math.hypot((xx - yy) / 2, xy);
  const [large, small] = [mean + spread, mean - spread];
  if (small < SPIKE_VARIANCE) return null;
  const elongation = Math.sqrt(large / small);
  // A trailed star keeps its width across the trail; a round one is measured both ways.
  const variance = (elongation > 1.3 ? small : Math.sqrt(large * small)) - HALF_PIXEL_VARIANCE;
  const signalToNoise = light / (2 * Math.PI * Math.sqrt(large * small)) / noise;
  if (signalToNoise < SIGNAL_TO_NOISE_MIN || elongation > 6) return null;
  return { x, y, widthPx: FWHM_PER_SIGMA * Math.sqrt(variance), elongation, light, signalToNoise };
}

/** Second moments of the star itself: those under the weight, the weight's inverse taken off. */
function unweighted([mxx, mxy, myy]: Moments, [ixx, ixy, iyy]: Moments): Moments | null {
  const determinant = mxx * myy - mxy * mxy;
  if (!(determinant > 1e-9)) return null;
  const axx = myy / determinant - ixx;
  const axy = -mxy / determinant - ixy;
  const ayy = mxx / determinant - iyy;
  const inner = axx * ayy - axy * axy;
  if (!(inner > 1e-9) || axx <= 0) return null;
  return [Math.max(0.05, ayy / inner), -axy / inner, Math.max(0.05, axx / inner)];
}
