import type { SimulatedSky } from "../../core/simulation/simulatedSky.ts";
import {
  gridLight,
  skyGrid,
  statisticsOf,
  type FramedSky,
  type SkyGrid,
} from "../../core/simulation/skyLight.ts";
import { viewOf } from "../../core/simulation/view.ts";
import type { UtcMs } from "../../core/units.ts";

/**
 * Width of the metered frame: a 16 mm lens on a full frame, 120 × 80 points. Its mean is within 4 %
 * of that of pictures of any size.
 */
const METERED_WIDTH_PX = 120;

/** Working out a grid takes longer than asking it. */
const grids = new WeakMap<SimulatedSky, SkyGrid>();

/**
 * Mean luminance of the framed sky at a moment, cd/m²: photopic, by area of the picture of a 16 mm
 * lens on a full frame, without land and water, stars, the Moon's disc and vignetting.
 */
export function meteredLuminanceCdM2(sky: SimulatedSky, atUtcMs: UtcMs): number {
  return framedSky(sky, atUtcMs).meanCdM2;
}

/** 99.5th percentile of the framed sky's luminance over its mean, ≥ 1; see `meteredLuminanceCdM2`. */
export function peakRatio(sky: SimulatedSky, atUtcMs: UtcMs): number {
  return framedSky(sky, atUtcMs).peakRatio;
}

function framedSky(sky: SimulatedSky, atUtcMs: UtcMs): FramedSky {
  const grid = grids.get(sky) ?? gridOf(sky);
  grids.set(sky, grid);
  return statisticsOf(grid, gridLight(sky, grid, atUtcMs, 0));
}

function gridOf(sky: SimulatedSky): SkyGrid {
  const view = viewOf({
    centre: sky.place,
    focalLengthMm: 16,
    sensorWidthMm: 36,
    widthPx: METERED_WIDTH_PX,
    heightPx: (METERED_WIDTH_PX * 2) / 3,
  });
  return skyGrid(sky, view, 1);
}
