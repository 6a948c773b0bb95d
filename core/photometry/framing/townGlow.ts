import { quantileOf } from "../../statistics.ts";
import type { LightGrid, Horizon } from "./lightGrid.ts";

/** A dome of warm light over the horizon. */
export type TownGlow = {
  /** Its middle, as shares of the frame's width and height from the upper left. */
  readonly x: number;
  readonly y: number;
  /** Share of the frame's width that it takes. */
  readonly width: number;
  /** Brightness over the strip of sky beside it, stops. */
  readonly stops: number;
};

/** The strip of sky that is looked at, above the land, as shares of the frame's height. */
const STRIP_FROM = 0.015;
const STRIP_TO = 0.09;

/** Town light is this much brighter, and this much warmer (log2 of red over green), than beside it. */
const BRIGHTER_STOPS = 0.35;
const WARMER_STOPS = 0.15;

/** Twilight is broader than a town, a lamp's halo narrower; shares of the frame's width. */
const WIDTH_MAX = 0.6;
const WIDTH_MIN = 0.03;

/**
 * Town light in the frame: stretches of the strip above the land that are brighter and warmer than
 * the rest of it. Aurora is greener than the rest, twilight broader.
 */
export function findTownGlow(grid: LightGrid, horizon: Horizon): readonly TownGlow[] {
  if (horizon.kind === "unknown") return [];
  const strip = Array.from({ length: grid.columns }, (_, column) =>
    stripAt(grid, horizon.rows[column]!, column),
  );
  const quiet = quantileOf(
    strip.map(({ light }) => light),
    0.35,
  );
  const cold = quantileOf(
    strip.map(({ warmth }) => warmth),
    0.35,
  );
  const isGlow = strip.map(
    ({ light, warmth }) => light - quiet > BRIGHTER_STOPS && warmth - cold > WARMER_STOPS,
  );
  const glows: TownGlow[] = [];
  for (let from = 0; from < isGlow.length; from += 1) {
    if (!isGlow[from]) continue;
    let to = from;
    // A tree before the dome does not divide it.
    while (to + 1 < isGlow.length && (isGlow[to + 1] || isGlow[to + 2] || isGlow[to + 3])) to += 1;
    const width = (to - from + 1) / grid.columns;
    if (width >= WIDTH_MIN && width <= WIDTH_MAX) {
      const part = strip.slice(from, to + 1);
      const top = Math.max(...part.map(({ light }) => light));
      const row = quantileOf(horizon.rows.slice(from, to + 1), 0.5);
      glows.push({
        x: (from + to + 1) / 2 / grid.columns,
        y: row / grid.rows - (STRIP_FROM + STRIP_TO) / 2,
        width,
        stops: top - quiet,
      });
    }
    from = to;
  }
  return glows;
}

function stripAt(
  { columns, rows, red, green, luminance }: LightGrid,
  horizonRow: number,
  column: number,
): { light: number; warmth: number } {
  const from = Math.max(0, Math.round(horizonRow - STRIP_TO * rows));
  const to = Math.max(from + 1, Math.round(horizonRow - STRIP_FROM * rows));
  let [light, reds, greens] = [0, 0, 0];
  for (let row = from; row < to; row += 1) {
    const cell = row * columns + column;
    light += luminance[cell]!;
    reds += red[cell]!;
    greens += green[cell]!;
  }
  const count = to - from;
  return {
    light: Math.log2(light / count + 1e-4),
    warmth: Math.log2((reds / count + 1e-4) / (greens / count + 1e-4)),
  };
}
