import { starRotation } from "../sky/starRotation.ts";
import { cloudTransmission } from "./clouds.ts";
import { airmass } from "../sky/airmass.ts";
import { lifted, passedShares } from "./air.ts";
import type { Rgb } from "./colour.ts";
import type { UtcMs } from "../units.ts";
import type { SimulatedSky } from "./simulatedSky.ts";
import { cloudCover } from "./skyLight.ts";
import { dot, rotated, type Direction, type Rotation } from "../sky/direction.ts";
import { pointOf, type View } from "./view.ts";

/** Receives light at a pixel: what the filters see, as luminance in cd/m². */
export type PixelSink = (pixel: number, red: number, green: number, blue: number) => void;

/** Longest piece of a trail that is drawn straight, seconds: 0.5° of turn. */
const STRAIGHT_SECONDS = 120;

/** Distance between the spots a trail is made of, in widths of a star. */
const SPOT_SPACING = 0.3;

/** Stars lower than this are lost in the haze: sine of the true altitude. */
const SIN_ALTITUDE_MIN = 0.002;

/** What the filters see of white light without air. */
const UNDIMMED: Rgb = [1, 1, 1];

/** Stars that add less than this to a pixel of the darkest sky are not drawn, cd/m². */
const FAINT_CD_M2 = 1.5e-5;

/** The same in a brighter sky, as a share of it: half a code at mid-grey, and less than the grain. */
const FAINT_SHARE = 0.01;

/**
 * Draws every star as the trail that the turning sky leaves during an exposure.
 *
 * @param fwhmPx  Width of a star that stands still.
 * @param strength  Share of its light that a star keeps (dew takes some).
 * Source: rotation by astronomy-engine, central projection; a star's light in a pixel is its
 * illuminance over the pixel's solid angle. Where the sky has air, it lifts, dims and reddens them.
 */
export function drawStars(options: {
  readonly sky: SimulatedSky;
  readonly view: View;
  readonly openedUtcMs: UtcMs;
  readonly seconds: number;
  readonly fwhmPx: number;
  readonly strength: number;
  /** Of the sky that the stars stand before. */
  readonly meanSkyCdM2: number;
  readonly sink: PixelSink;
}): void {
  const { sky, view, openedUtcMs, seconds, fwhmPx, strength, sink } = options;
  if (sky.stars.length === 0) return;
  const pieces = Math.max(1, Math.ceil(seconds / STRAIGHT_SECONDS));
  const rotations = Array.from({ length: pieces + 1 }, (_, index) =>
    starRotation(sky.place, (openedUtcMs + (seconds * 1000 * index) / pieces) as UtcMs),
  );
  const atSeconds = (openedUtcMs - sky.startUtcMs) / 1000 + seconds / 2;
  const cover = cloudCover(sky, atSeconds);
  const extinctionMag = sky.clear?.extinctionMag ?? null;
  const edge = Math.hypot(view.widthPx, view.heightPx) / 2 / view.pxPerRad;
  const cosEdge = Math.min(Math.cos(Math.atan(edge)) - 0.03, 0.999);
  const area = 1.13 * fwhmPx * fwhmPx;
  const faintest = Math.max(FAINT_CD_M2, FAINT_SHARE * options.meanSkyCdM2);
  const first = rotations[0]!;

  const trail: Trail = {
    view,
    rotations,
    hasAir: extinctionMag !== null,
    fwhmPx,
    sink,
    columnWeights: new Float64Array(2 * REACH_PX_MAX + 1),
  };
  for (const star of sky.stars) {
    const up = dot(first[2], star.direction);
    if (up < SIN_ALTITUDE_MIN) continue;
    const start = seenAt(trail, first, star.direction);
    const depth = dot(start, view.forward);
    if (depth < cosEdge) continue;
    const [red, green, blue] =
      extinctionMag === null ? UNDIMMED : passedShares(extinctionMag, airmass(start[2]));
    const dimmed = star.lux * green * strength;
    // A pixel off the axis sees less of the sky: its solid angle falls with cos³.
    const total = (dimmed * view.pxPerRad * view.pxPerRad) / (depth * depth * depth);
    if (total / area < faintest) continue;
    const through =
      sky.clouds === null || cover <= 0
        ? 1
        : cloudTransmission(sky.clouds, cover, atSeconds, start);
    const hue: Rgb = [(star.hue[0] * red) / green, 1, (star.hue[2] * blue) / green];
    drawTrail(trail, star.direction, hue, start, total * through);
  }
}

/** What the trails of an exposure have in common. */
type Trail = {
  readonly view: View;
  /** From the star's own direction to that at the trail's corners, in order. */
  readonly rotations: readonly Rotation[];
  readonly hasAir: boolean;
  readonly fwhmPx: number;
  readonly sink: PixelSink;
  /** Room for one spot's weights by column. */
  readonly columnWeights: Float64Array;
};

/** Draws one star's trail as straight pieces, each a row of spots; ends where it leaves the view. */
function drawTrail(trail: Trail, star: Direction, hue: Rgb, start: Direction, total: number): void {
  const { view, rotations, fwhmPx, sink, columnWeights } = trail;
  const pieces = rotations.length - 1;
  let from = pointOf(view, start);
  for (let piece = 1; piece <= pieces && from !== null; piece += 1) {
    const to = pointOf(view, seenAt(trail, rotations[piece]!, star));
    if (to === null) break;
    const length = Math.hypot(to[0] - from[0], to[1] - from[1]);
    const spots = 1 + Math.ceil(length / (SPOT_SPACING * fwhmPx) - 0.05);
    // A few spots are less spread out than the even trail that they stand for.
    const stretch = spots > 1 ? 1 / Math.sqrt(1 - 1 / (spots * spots)) : 1;
    const light = total / pieces / spots;
    for (let spot = 0; spot < spots; spot += 1) {
      const part = 0.5 + ((spot + 0.5) / spots - 0.5) * stretch;
      const x = from[0] + (to[0] - from[0]) * part;
      const y = from[1] + (to[1] - from[1]) * part;
      drawSpot(view, { x, y, sigmaPx: fwhmPx / FWHM_PER_SIGMA }, columnWeights, (pixel, share) => {
        sink(pixel, hue[0] * light * share, light * share, hue[2] * light * share);
      });
    }
    from = to;
  }
}

/** Where a star is seen after a turn of the sky. */
function seenAt({ hasAir }: Trail, rotation: Rotation, star: Direction): Direction {
  const turned = rotated(rotation, star);
  return hasAir ? lifted(turned) : turned;
}

/** Full width at half maximum of a Gaussian over its standard deviation: 2 √(2 ln 2). */
const FWHM_PER_SIGMA = 2.3548;

/** No spot reaches farther, pixels: a defocused star of a large picture. Judgement. */
const REACH_PX_MAX = 120;

/** Spreads a unit of light over the pixels of a Gaussian spot; what falls beside the picture is lost. */
function drawSpot(
  view: View,
  spot: { readonly x: number; readonly y: number; readonly sigmaPx: number },
  columnWeights: Float64Array,
  sink: (pixel: number, share: number) => void,
): void {
  const sigma = Math.max(0.42, spot.sigmaPx);
  const reach = Math.min(REACH_PX_MAX, Math.ceil(3 * sigma));
  // Pixel n covers n .. n + 1, its centre is n + 0.5.
  const [x, y] = [spot.x - 0.5, spot.y - 0.5];
  const [left, top] = [Math.round(x) - reach, Math.round(y) - reach];
  if (left + 2 * reach < 0 || left >= view.widthPx) return;
  if (top + 2 * reach < 0 || top >= view.heightPx) return;
  const narrow = 1 / (2 * sigma * sigma);
  let columnSum = 0;
  for (let index = 0; index <= 2 * reach; index += 1) {
    const weight = Math.exp(-((left + index - x) ** 2) * narrow);
    columnWeights[index] = weight;
    columnSum += weight;
  }
  let rowSum = 0;
  for (let index = 0; index <= 2 * reach; index += 1) {
    rowSum += Math.exp(-((top + index - y) ** 2) * narrow);
  }
  for (let down = 0; down <= 2 * reach; down += 1) {
    const row = top + down;
    if (row < 0 || row >= view.heightPx) continue;
    const weight = Math.exp(-((row - y) ** 2) * narrow) / rowSum / columnSum;
    for (let across = 0; across <= 2 * reach; across += 1) {
      const column = left + across;
      if (column < 0 || column >= view.widthPx) continue;
      sink(row * view.widthPx + column, weight * columnWeights[across]!);
    }
  }
}
