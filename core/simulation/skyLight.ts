import type { UtcMs } from "../units.ts";
import { RAD_PER_DEG } from "../sky/angles.ts";
import { CD_M2_PER_NANOLAMBERT } from "../sky/luminance.ts";
import { moonlightNanolambert } from "../sky/moonlight.ts";
import { auroraMoment } from "./auroraCourse.ts";
import { addAurora, auroraSight, type AuroraSight } from "./auroraLight.ts";
import {
  clearSkyLight,
  MOONLIGHT_HUE,
  skyMoment,
  type ClearSkyLight,
  type SkyMoment,
} from "./clearSky.ts";
import { cloudLit, cloudTransmission } from "./clouds.ts";
import { silhouetteDeg, waterMirror, type Foreground } from "./foreground.ts";
import { patternShare } from "./pattern.ts";
import type { SimulatedSky } from "./simulatedSky.ts";
import { directionOf, dot, type Direction } from "../sky/direction.ts";
import { directionAt, type View } from "./view.ts";

/**
 * Points of the sky on a regular grid over a picture, and everything about them that does not
 * change with time.
 */
export type SkyGrid = {
  readonly columns: number;
  readonly rows: number;
  /** Pixels from point to point; the first lies on the picture's upper left corner. */
  readonly stepPx: number;
  /** Where each point looks; on the lake, where its mirror image looks. */
  readonly directions: readonly Direction[];
  /** Share of the light that arrives: 1 in the sky, what the water mirrors below the shore. */
  readonly mirror: Float32Array;
  /** 1 where the open sky is seen, 0 where land or water is. */
  readonly isSky: Uint8Array;
  /** Smooth light is worked out at every so many points and drawn in between. */
  readonly smoothStep: number;
  readonly sight: AuroraSight | null;
};

/** A grid over a view. */
export function skyGrid(sky: SimulatedSky, view: View, stepPx: number): SkyGrid {
  const columns = Math.ceil(view.widthPx / stepPx) + 2;
  const rows = Math.ceil(view.heightPx / stepPx) + 2;
  const directions: Direction[] = [];
  const mirror = new Float32Array(columns * rows).fill(1);
  const isSky = new Uint8Array(columns * rows);
  for (let row = 0; row < rows; row += 1) {
    for (let column = 0; column < columns; column += 1) {
      const seen = directionAt(view, column * stepPx, row * stepPx);
      const at = row * columns + column;
      const mirrored = mirroredAt(seen, sky.foreground);
      directions.push(mirrored.direction);
      mirror[at] = mirrored.share;
      isSky[at] = isOpenSky(seen, sky.foreground) ? 1 : 0;
    }
  }
  const stepRad = stepPx / view.pxPerRad;
  return {
    columns,
    rows,
    stepPx,
    directions,
    mirror,
    isSky,
    smoothStep: Math.max(2, Math.round(0.035 / stepRad)),
    // The aurora's own map: about as fine as the grid, which is as fine as it can be seen.
    sight:
      sky.aurora === null
        ? null
        : auroraSight(
            sky.aurora.axes,
            directions,
            0.85 * stepRad,
            sky.clear?.extinctionMag ?? null,
          ),
  };
}

/** What a line of sight meets below the shore: the sky mirrored in the lake. */
function mirroredAt(
  seen: Direction,
  foreground: Foreground | null,
): { readonly direction: Direction; readonly share: number } {
  if (foreground === null) return { direction: seen, share: 1 };
  const shore = Math.sin(foreground.shoreDeg * RAD_PER_DEG);
  if (seen[2] >= shore) return { direction: seen, share: 1 };
  const up = 2 * shore - seen[2];
  const across = Math.hypot(seen[0], seen[1]);
  const scale = across === 0 ? 0 : Math.sqrt(1 - up * up) / across;
  return {
    direction: [seen[0] * scale, seen[1] * scale, up],
    share: waterMirror(Math.asin(-seen[2]) / RAD_PER_DEG),
  };
}

function isOpenSky(seen: Direction, foreground: Foreground | null): boolean {
  if (foreground === null) return true;
  const altitudeDeg = Math.asin(seen[2]) / RAD_PER_DEG;
  if (altitudeDeg > 20) return true;
  const azimuthDeg = Math.atan2(seen[0], seen[1]) / RAD_PER_DEG;
  return altitudeDeg > silhouetteDeg(foreground, azimuthDeg);
}

/** Angle about the Moon within which its glow is worked out at every point, degrees. */
const MOON_GLOW_DEG = 16;

/**
 * What the filters see at the points of a grid, averaged over an exposure: three numbers a point,
 * cd/m², green being luminance. Stars, the Moon's disc and land are left out.
 */
export function gridLight(
  sky: SimulatedSky,
  grid: SkyGrid,
  openedUtcMs: UtcMs,
  seconds: number,
): Float32Array {
  const { directions, columns } = grid;
  const light = new Float32Array(directions.length * 3);
  const moment = skyMoment(sky.place, (openedUtcMs + seconds * 500) as UtcMs);
  const fromSeconds = (openedUtcMs - sky.startUtcMs) / 1000;
  addSmooth(sky, grid, moment, light);
  addEven(sky, directions, light, fromSeconds, seconds);
  if (sky.aurora !== null && grid.sight !== null) {
    addAurora({ aurora: sky.aurora, sight: grid.sight, fromSeconds, seconds, light });
  }
  veil(sky, light, fromSeconds + seconds / 2, (point) => directions[point]!, columns);
  for (let point = 0; point < grid.mirror.length; point += 1) {
    const share = grid.mirror[point]!;
    if (share === 1) continue;
    for (let channel = 0; channel < 3; channel += 1) light[point * 3 + channel]! *= share;
  }
  return light;
}

/** The same toward any few directions at a moment; slower a point. */
export function lightToward(
  sky: SimulatedSky,
  directions: readonly Direction[],
  atUtcMs: UtcMs,
): Float32Array {
  const light = new Float32Array(directions.length * 3);
  const moment = skyMoment(sky.place, atUtcMs);
  const fromSeconds = (atUtcMs - sky.startUtcMs) / 1000;
  if (sky.clear !== null) {
    const clear = clearSkyLight(sky.clear, moment, sky.mottle);
    directions.forEach((direction, point) => {
      clear.add(direction, light, point * 3);
      addMoonlight(light, point, moonlightCdM2(sky, moment, direction));
    });
  }
  addEven(sky, directions, light, fromSeconds, 0);
  if (sky.aurora !== null) {
    const sight = auroraSight(sky.aurora.axes, directions, 0.004, sky.clear?.extinctionMag ?? null);
    addAurora({ aurora: sky.aurora, sight, fromSeconds, seconds: 0, light });
  }
  veil(sky, light, fromSeconds, (point) => directions[point]!, 1);
  return light;
}

function addEven(
  sky: SimulatedSky,
  directions: readonly Direction[],
  light: Float32Array,
  fromSeconds: number,
  seconds: number,
): void {
  const { even, pattern } = sky;
  if (even === null && pattern === null) return;
  directions.forEach((direction, point) => {
    const share = pattern === null ? 0 : patternShare(pattern, direction, fromSeconds, seconds);
    for (let channel = 0; channel < 3; channel += 1) {
      light[point * 3 + channel]! += (even?.[channel] ?? 0) + share * (pattern?.seen[channel] ?? 0);
    }
  });
}

function addMoonlight(light: Float32Array, point: number, luminanceCdM2: number): void {
  if (luminanceCdM2 === 0) return;
  light[point * 3]! += MOONLIGHT_HUE[0] * luminanceCdM2;
  light[point * 3 + 1]! += MOONLIGHT_HUE[1] * luminanceCdM2;
  light[point * 3 + 2]! += MOONLIGHT_HUE[2] * luminanceCdM2;
}

function moonlightCdM2(sky: SimulatedSky, moment: SkyMoment, direction: Direction): number {
  if (sky.clear === null || !sky.clear.hasMoon || moment.moon.altitudeDeg <= 0) return 0;
  const nanolambert = moonlightNanolambert({
    phaseAngleDeg: moment.moonPhaseAngleDeg,
    moon: { bearingDeg: moment.moon.azimuthDeg, elevationDeg: moment.moon.altitudeDeg },
    towards: {
      bearingDeg: Math.atan2(direction[0], direction[1]) / RAD_PER_DEG,
      elevationDeg: Math.asin(Math.min(1, Math.max(0.001, direction[2]))) / RAD_PER_DEG,
    },
    extinctionMag: sky.clear.extinctionMag,
  });
  return nanolambert * CD_M2_PER_NANOLAMBERT * seamless(separationOf(moment, direction));
}

function separationOf(moment: SkyMoment, direction: Direction): number {
  const moon = directionOf(moment.moon.azimuthDeg, moment.moon.altitudeDeg);
  return Math.acos(Math.max(-1, Math.min(1, dot(moon, direction)))) / RAD_PER_DEG;
}

/**
 * The model's two scattering laws do not meet at 10° from the Moon: a ring of a sixth of the light
 * would stand there. From 5° on the inner law is led up to the outer one, within its accuracy.
 */
function seamless(separationDeg: number): number {
  if (separationDeg >= 10 || separationDeg <= 5) return 1;
  const rayleigh = 10 ** 5.36 * (1.06 + Math.cos(10 * RAD_PER_DEG) ** 2);
  const jump = (rayleigh + 10 ** (6.15 - 10 / 40)) / (rayleigh + 6.2e7 / 100);
  const part = (separationDeg - 5) / 5;
  return 1 + (jump - 1) * part * part * (3 - 2 * part);
}

/** Clear sky and moonlight at every few points of a grid: four numbers a point. */
type CoarseLight = { readonly across: number; readonly down: number; readonly light: Float32Array };

function coarseLight(
  sky: SimulatedSky,
  clear: ClearSkyLight,
  grid: SkyGrid,
  moment: SkyMoment,
): CoarseLight {
  const { columns, rows, smoothStep, directions } = grid;
  const across = Math.ceil((columns - 1) / smoothStep) + 1;
  const down = Math.ceil((rows - 1) / smoothStep) + 1;
  const light = new Float32Array(across * down * 4);
  const cell = [0, 0, 0];
  for (let j = 0; j < down; j += 1) {
    for (let i = 0; i < across; i += 1) {
      const column = Math.min(columns - 1, i * smoothStep);
      const row = Math.min(rows - 1, j * smoothStep);
      const direction = directions[row * columns + column]!;
      cell.fill(0);
      clear.add(direction, cell, 0);
      const at = (j * across + i) * 4;
      light.set(cell, at);
      light[at + 3] = moonlightCdM2(sky, moment, direction);
    }
  }
  return { across, down, light };
}

/** Clear sky and moonlight: at every few points, and straight in between. */
function addSmooth(sky: SimulatedSky, grid: SkyGrid, moment: SkyMoment, light: Float32Array): void {
  if (sky.clear === null) return;
  const clear = clearSkyLight(sky.clear, moment, sky.mottle);
  const { columns, rows, smoothStep, directions } = grid;
  const { across, down, light: coarse } = coarseLight(sky, clear, grid, moment);
  const nearMoon = moment.moon.altitudeDeg > 0 ? Math.cos(MOON_GLOW_DEG * RAD_PER_DEG) : 2;
  const moonDirection = directionOf(moment.moon.azimuthDeg, moment.moon.altitudeDeg);
  const line = new Float32Array(across * 4);
  for (let row = 0; row < rows; row += 1) {
    const j = Math.min(down - 2, Math.floor(row / smoothStep));
    const end = Math.min(rows - 1, (j + 1) * smoothStep);
    const v = (row - j * smoothStep) / (end - j * smoothStep);
    const base = j * across * 4;
    for (let at = 0; at < line.length; at += 1) {
      const upper = coarse[base + at]!;
      line[at] = upper + v * (coarse[base + across * 4 + at]! - upper);
    }
    for (let column = 0; column < columns; column += 1) {
      const i = Math.min(across - 2, Math.floor(column / smoothStep));
      const right = Math.min(columns - 1, (i + 1) * smoothStep);
      const u = (column - i * smoothStep) / (right - i * smoothStep);
      const a = i * 4;
      const point = row * columns + column;
      const to = point * 3;
      light[to] = light[to]! + line[a]! + u * (line[a + 4]! - line[a]!);
      light[to + 1] = light[to + 1]! + line[a + 1]! + u * (line[a + 5]! - line[a + 1]!);
      light[to + 2] = light[to + 2]! + line[a + 2]! + u * (line[a + 6]! - line[a + 2]!);
      if (nearMoon === 2) continue;
      const direction = directions[point]!;
      const moonlight =
        dot(direction, moonDirection) > nearMoon
          ? moonlightCdM2(sky, moment, direction)
          : line[a + 3]! + u * (line[a + 7]! - line[a + 3]!);
      addMoonlight(light, point, moonlight);
    }
  }
}

/** Clouds take the light behind them and shine with that of the sky around. */
function veil(
  sky: SimulatedSky,
  light: Float32Array,
  atSeconds: number,
  directionAtPoint: (point: number) => Direction,
  columns: number,
): void {
  const cover = cloudCover(sky, atSeconds);
  if (sky.clouds === null || cover <= 0) return;
  const count = light.length / 3;
  const mean = [0, 0, 0];
  for (let index = 0; index < light.length; index += 1) mean[index % 3]! += light[index]! / count;
  let transmission = 1;
  for (let point = 0; point < count; point += 1) {
    // Clouds are smooth: every second point of a row will do.
    if (columns === 1 || (point % columns) % 2 === 0) {
      transmission = cloudTransmission(sky.clouds, cover, atSeconds, directionAtPoint(point));
    }
    for (let channel = 0; channel < 3; channel += 1) {
      const index = point * 3 + channel;
      light[index] = cloudLit(light[index]!, mean[channel]!, transmission);
    }
  }
}

/** Cloud cover at a moment of the night, 0..1. */
export function cloudCover(sky: SimulatedSky, atSeconds: number): number {
  return sky.aurora === null ? 0 : auroraMoment(sky.aurora.course, atSeconds).cover;
}

/** What a light meter that looks as the camera does would say. */
export type FramedSky = { readonly meanCdM2: number; readonly peakRatio: number };

/** Mean and peak of the open sky on a grid. */
export function statisticsOf(grid: SkyGrid, light: Float32Array): FramedSky {
  const values = new Float32Array(grid.isSky.length);
  let count = 0;
  let sum = 0;
  for (let point = 0; point < grid.isSky.length; point += 1) {
    if (grid.isSky[point] === 0) continue;
    const luminance = light[point * 3 + 1]!;
    values[count] = luminance;
    count += 1;
    sum += luminance;
  }
  if (count === 0) return { meanCdM2: 0, peakRatio: 1 };
  const meanCdM2 = sum / count;
  const peak = percentile(values.subarray(0, count), 0.995);
  return { meanCdM2, peakRatio: meanCdM2 > 0 ? Math.max(1, peak / meanCdM2) : 1 };
}

/** Value below which a share of the values lies; by counting, exact to a thousandth of the range. */
function percentile(values: Float32Array, share: number): number {
  let [low, high] = [Infinity, -Infinity];
  for (const value of values) {
    if (value < low) low = value;
    if (value > high) high = value;
  }
  if (!(high > low)) return high;
  const bins = new Uint32Array(4096);
  const scale = 4095 / (high - low);
  for (const value of values) bins[((value - low) * scale) | 0]! += 1;
  let left = share * values.length;
  let bin = 0;
  while (bin < 4095 && left > bins[bin]!) {
    left -= bins[bin]!;
    bin += 1;
  }
  return low + (bin + 0.5) / scale;
}
