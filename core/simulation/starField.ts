import { RAD_PER_DEG } from "../sky/angles.ts";
import { starRotation, type SkyMoment } from "./clearSky.ts";
import { cloudTransmission } from "./clouds.ts";
import { airmass } from "./stars.ts";
import type { UtcMs } from "../units.ts";
import type { SimulatedSky } from "./simulatedSky.ts";
import { cloudCover } from "./skyLight.ts";
import { directionOf, dot, pointOf, type Direction, type View } from "./view.ts";

/** Receives light at a pixel: what the filters see, as luminance in cd/m². */
export type PixelSink = (pixel: number, red: number, green: number, blue: number) => void;

/** Longest piece of a trail that is drawn straight, seconds: 0.5° of turn. */
const STRAIGHT_SECONDS = 120;

/** Distance between the spots a trail is made of, in widths of a star. */
const SPOT_SPACING = 0.3;

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
 * illuminance over the pixel's solid angle.
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
  const extinctionMag = sky.clear?.extinctionMag ?? 0;
  const edge = Math.hypot(view.widthPx, view.heightPx) / 2 / view.pxPerRad;
  const cosEdge = Math.min(Math.cos(Math.atan(edge)) - 0.03, 0.999);
  const area = 1.13 * fwhmPx * fwhmPx;
  const faintest = Math.max(FAINT_CD_M2, FAINT_SHARE * options.meanSkyCdM2);
  const first = rotations[0]!;
  const rotated = (index: number, star: Direction): Direction => {
    const rotation = rotations[index]!;
    return [dot(rotation[0], star), dot(rotation[1], star), dot(rotation[2], star)];
  };

  for (const star of sky.stars) {
    const up = dot(first[2], star.direction);
    if (up < 0.002) continue;
    const start: Direction = [dot(first[0], star.direction), dot(first[1], star.direction), up];
    const depth = dot(start, view.forward);
    if (depth < cosEdge) continue;
    const dimmed = star.lux * 10 ** (-0.4 * extinctionMag * airmass(up)) * strength;
    // A pixel off the axis sees less of the sky: its solid angle falls with cos³.
    const total = (dimmed * view.pxPerRad * view.pxPerRad) / (depth * depth * depth);
    if (total / area < faintest) continue;
    const through =
      sky.clouds === null || cover <= 0
        ? 1
        : cloudTransmission(sky.clouds, cover, atSeconds, start);
    let from = pointOf(view, start);
    for (let piece = 1; piece <= pieces && from !== null; piece += 1) {
      const to = pointOf(view, rotated(piece, star.direction));
      if (to === null) break;
      const length = Math.hypot(to[0] - from[0], to[1] - from[1]);
      const spots = 1 + Math.ceil(length / (SPOT_SPACING * fwhmPx) - 0.05);
      // A few spots are less spread out than the even trail that they stand for.
      const stretch = spots > 1 ? 1 / Math.sqrt(1 - 1 / (spots * spots)) : 1;
      const light = (total * through) / pieces / spots;
      for (let spot = 0; spot < spots; spot += 1) {
        const part = 0.5 + ((spot + 0.5) / spots - 0.5) * stretch;
        const x = from[0] + (to[0] - from[0]) * part;
        const y = from[1] + (to[1] - from[1]) * part;
        drawSpot(view, { x, y, sigmaPx: fwhmPx / 2.3548 }, (pixel, share) => {
          sink(pixel, star.hue[0] * light * share, light * share, star.hue[2] * light * share);
        });
      }
      from = to;
    }
  }
}

const columnWeights = new Float64Array(256);

/** Spreads a unit of light over the pixels of a Gaussian spot; what falls beside the picture is lost. */
function drawSpot(
  view: View,
  spot: { readonly x: number; readonly y: number; readonly sigmaPx: number },
  sink: (pixel: number, share: number) => void,
): void {
  const sigma = Math.max(0.42, spot.sigmaPx);
  const reach = Math.min(120, Math.ceil(3 * sigma));
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

/** The Moon's radius as seen from here, degrees. */
const MOON_RADIUS_DEG = 0.26;

/** Illuminance of magnitude 0, lux. Source: Allen, Astrophysical Quantities. */
const LUX_OF_ZERO_MAG = 2.54e-6;

/**
 * Draws the Moon's disc with its lit side toward the Sun; its glow belongs to the sky.
 *
 * Source: magnitude −12.73 + 0.026 |α| + 4e-9 α⁴ (Krisciunas and Schaefer 1991, eq. 9), spread over
 * the lit part of the disc.
 */
export function drawMoon(options: {
  readonly sky: SimulatedSky;
  readonly view: View;
  readonly moment: SkyMoment;
  readonly sink: PixelSink;
}): void {
  const { sky, view, moment, sink } = options;
  const { moon, sun, moonPhaseAngleDeg } = moment;
  if (sky.clear === null || !sky.clear.hasMoon || moon.altitudeDeg < -MOON_RADIUS_DEG) return;
  const direction = directionOf(moon.azimuthDeg, moon.altitudeDeg);
  const centre = pointOf(view, direction);
  if (centre === null) return;
  const radius = MOON_RADIUS_DEG * RAD_PER_DEG * view.pxPerRad;
  const alpha = Math.abs(moonPhaseAngleDeg);
  const magnitude = -12.73 + 0.026 * alpha + 4e-9 * alpha ** 4;
  const lux = LUX_OF_ZERO_MAG * 10 ** (-0.4 * magnitude);
  const litShare = Math.max(0.02, (1 + Math.cos(alpha * RAD_PER_DEG)) / 2);
  const disc = Math.PI * (MOON_RADIUS_DEG * RAD_PER_DEG) ** 2;
  const extinction = 10 ** (-0.4 * sky.clear.extinctionMag * airmass(direction[2]));
  const luminance = (lux * extinction) / (disc * litShare);
  // The lit limb points to the Sun along the great circle.
  const toSun = directionOf(sun.azimuthDeg, sun.altitudeDeg);
  const towards = pointOf(view, along(direction, toSun, 0.01)) ?? centre;
  const length = Math.hypot(towards[0] - centre[0], towards[1] - centre[1]) || 1;
  const [ux, uy] = [(towards[0] - centre[0]) / length, (towards[1] - centre[1]) / length];
  const terminator = Math.cos(alpha * RAD_PER_DEG);
  const subsamples = 4;
  const from = Math.floor(centre[1] - radius) - 1;
  for (let row = from; row <= centre[1] + radius + 1; row += 1) {
    if (row < 0 || row >= view.heightPx) continue;
    for (
      let column = Math.floor(centre[0] - radius) - 1;
      column <= centre[0] + radius + 1;
      column += 1
    ) {
      if (column < 0 || column >= view.widthPx) continue;
      let lit = 0;
      for (let part = 0; part < subsamples * subsamples; part += 1) {
        const x = (column + ((part % subsamples) + 0.5) / subsamples - centre[0]) / radius;
        const y = (row + (Math.floor(part / subsamples) + 0.5) / subsamples - centre[1]) / radius;
        const across = x * -uy + y * ux;
        if (x * x + y * y > 1) continue;
        if (x * ux + y * uy > -terminator * Math.sqrt(Math.max(0, 1 - across * across))) lit += 1;
      }
      const share = (luminance * lit) / (subsamples * subsamples);
      if (share > 0) sink(row * view.widthPx + column, 1.05 * share, share, 0.9 * share);
    }
  }
}

/** The point a little way along the great circle from one direction to another. */
function along(from: Direction, to: Direction, angleRad: number): Direction {
  const cosine = dot(from, to);
  const sine = Math.sqrt(Math.max(1e-12, 1 - cosine * cosine));
  const [c, s] = [Math.cos(angleRad), Math.sin(angleRad) / sine];
  return [
    from[0] * c + (to[0] - from[0] * cosine) * s,
    from[1] * c + (to[1] - from[1] * cosine) * s,
    from[2] * c + (to[2] - from[2] * cosine) * s,
  ];
}
