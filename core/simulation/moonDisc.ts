import { RAD_PER_DEG } from "../sky/angles.ts";
import { lifted, passedShares } from "./air.ts";
import type { SkyMoment } from "./clearSky.ts";
import type { Rgb } from "./colour.ts";
import type { SimulatedSky } from "./simulatedSky.ts";
import type { PixelSink } from "./starField.ts";
import { airmass } from "../sky/airmass.ts";
import { directionOf, dot, type Direction } from "../sky/direction.ts";
import { pointOf, type View } from "./view.ts";

/** The Moon's radius as seen from here, degrees. */
const MOON_RADIUS_DEG = 0.26;

/** The disc is gone this far below the true horizon: its radius and the air's lift of half a degree. */
const MOON_SET_DEG = 0.9;

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
  if (sky.clear === null || !sky.clear.hasMoon || moon.altitudeDeg < -MOON_SET_DEG) return;
  const direction = lifted(directionOf(moon.azimuthDeg, moon.altitudeDeg));
  const centre = pointOf(view, direction);
  if (centre === null) return;
  // The lit limb points to the Sun along the great circle.
  const toSun = directionOf(sun.azimuthDeg, sun.altitudeDeg);
  const towards = pointOf(view, along(direction, toSun, 0.01)) ?? centre;
  const length = Math.hypot(towards[0] - centre[0], towards[1] - centre[1]) || 1;
  const disc: Disc = {
    centre,
    radiusPx: MOON_RADIUS_DEG * RAD_PER_DEG * view.pxPerRad,
    sunward: [(towards[0] - centre[0]) / length, (towards[1] - centre[1]) / length],
    terminator: Math.cos(Math.abs(moonPhaseAngleDeg) * RAD_PER_DEG),
  };
  const [red, green, blue] = passedShares(sky.clear.extinctionMag, airmass(direction[2]));
  const litCdM2 = litLuminanceCdM2(Math.abs(moonPhaseAngleDeg));
  drawDisc(
    view,
    disc,
    [MOON_HUE.red * red * litCdM2, green * litCdM2, MOON_HUE.blue * blue * litCdM2],
    sink,
  );
}

/** Luminance of the Moon's lit part outside the air. */
function litLuminanceCdM2(phaseAngleDeg: number): number {
  const magnitude = -12.73 + 0.026 * phaseAngleDeg + 4e-9 * phaseAngleDeg ** 4;
  const lux = LUX_OF_ZERO_MAG * 10 ** (-0.4 * magnitude);
  const litShare = Math.max(0.02, (1 + Math.cos(phaseAngleDeg * RAD_PER_DEG)) / 2);
  const discSr = Math.PI * (MOON_RADIUS_DEG * RAD_PER_DEG) ** 2;
  return lux / (discSr * litShare);
}

/** The Moon's disc in the picture. */
type Disc = {
  readonly centre: readonly [x: number, y: number];
  readonly radiusPx: number;
  /** Unit vector in the picture from the centre toward the Sun. */
  readonly sunward: readonly [x: number, y: number];
  /** Half width of the terminator's ellipse over the radius: 1 full .. −1 new. */
  readonly terminator: number;
};

/** Parts of a pixel each way in which the disc's edge is resolved. */
const SUBSAMPLES = 4;

/** The Moon's light as the filters see it, a little warm. Common practice, no source. */
const MOON_HUE = { red: 1.05, blue: 0.9 };

/** @param seen  What the filters see of the lit part, cd/m². */
function drawDisc(view: View, disc: Disc, seen: Rgb, sink: PixelSink): void {
  const { centre, radiusPx } = disc;
  const [left, top] = [Math.floor(centre[0] - radiusPx) - 1, Math.floor(centre[1] - radiusPx) - 1];
  for (let row = Math.max(0, top); row <= centre[1] + radiusPx + 1; row += 1) {
    if (row >= view.heightPx) break;
    for (let column = Math.max(0, left); column <= centre[0] + radiusPx + 1; column += 1) {
      if (column >= view.widthPx) break;
      const share = litParts(disc, column, row) / (SUBSAMPLES * SUBSAMPLES);
      if (share <= 0) continue;
      sink(row * view.widthPx + column, seen[0] * share, seen[1] * share, seen[2] * share);
    }
  }
}

/** Parts of a pixel that lie on the sunlit side of the terminator. */
function litParts(
  { centre, radiusPx, sunward, terminator }: Disc,
  column: number,
  row: number,
): number {
  const [ux, uy] = sunward;
  let lit = 0;
  for (let part = 0; part < SUBSAMPLES * SUBSAMPLES; part += 1) {
    const x = (column + ((part % SUBSAMPLES) + 0.5) / SUBSAMPLES - centre[0]) / radiusPx;
    const y = (row + (Math.floor(part / SUBSAMPLES) + 0.5) / SUBSAMPLES - centre[1]) / radiusPx;
    if (x * x + y * y > 1) continue;
    const across = x * -uy + y * ux;
    if (x * ux + y * uy > -terminator * Math.sqrt(Math.max(0, 1 - across * across))) lit += 1;
  }
  return lit;
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
