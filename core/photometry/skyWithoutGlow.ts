import { luminanceCdM2Of, type Exposure } from "../exposure/exposure.ts";
import type { MonotonicMs } from "../units.ts";
import type { CellGrid } from "./cells.ts";
import type { LightMap } from "../activity/lightMap.ts";
import { measureSky, type SkyStatistics } from "./skyStatistics.ts";
import { valueAtShare } from "../statistics.ts";

/** What is remembered of a glow that may be a town's. */
export type GlowMemory = {
  /** How much of it is left out, 0..1. */
  readonly share: number;
  /** The glow that is watched; null: none so far. */
  readonly watched: {
    /** log2 of its brightest part, cd/m². */
    readonly level: number;
    /** Its middle, as a share of the frame's width. */
    readonly x: number;
    /** Since when it has stood there as bright as that. */
    readonly sinceMs: MonotonicMs;
    /** True once it has stood long enough: towns stay, twilight does not. */
    readonly isTown: boolean;
  } | null;
};

/** Before the first frame: no glow is known. */
export const NO_GLOW: GlowMemory = { share: 0, watched: null };

/** A glow that changes by more than this is watched from the start again, stops. */
const STEADY_STOPS = 0.25;
/**
 * A town's light is the same after so many minutes. Twilight changes by half a stop meanwhile even
 * at 16° under the horizon, where it is slowest (Patat et al. 2006: 0.3 mag a degree, of which a
 * high latitude's Sun takes 12 minutes).
 */
const STEADY_MINUTES = 15;
/** A town stays at its azimuth, to a share of the frame's width. */
const STEADY_WIDTH = 0.08;
/** What is brighter than a known town by this much is something else, stops. */
const TOWN_STOPS = 1;

/** What a town's glow adds to the mean, stops: below the first it is left in, from the second left out. */
const HARMLESS_STOPS = 0.1;
const HARMFUL_STOPS = 0.2;
/** Leaving it out, and in again, takes so many frames. */
const FADE_FRAMES = 12;

/** The sky's numbers without a town's glow. */
export type SkyWithoutGlow = {
  readonly statistics: SkyStatistics;
  /** What leaving it out took off the mean, stops ≥ 0. */
  readonly leftOutStops: number;
  readonly memory: GlowMemory;
};

/**
 * Measures the sky and takes a town's glow out of it, as far as it does harm. It goes and comes
 * back over some frames, never in one.
 *
 * @param glowCells  From `findGlow`; empty: none is seen.
 */
export function measureWithoutGlow(
  memory: GlowMemory,
  seen: {
    readonly grid: CellGrid;
    readonly light: LightMap;
    readonly isMetered: Uint8Array;
    readonly glowCells: readonly number[];
    readonly exposure: Exposure;
    readonly atMs: MonotonicMs;
  },
): SkyWithoutGlow {
  const { grid, light, isMetered, glowCells } = seen;
  const whole = measureSky(grid, light, isMetered);
  const watched = watch(memory.watched, seen);
  const isTown = glowCells.length > 0 && watched?.isTown === true;
  if (!isTown && memory.share === 0) {
    return { statistics: whole, leftOutStops: 0, memory: { share: 0, watched } };
  }
  const isBesides = Uint8Array.from(isMetered);
  for (const cell of glowCells) isBesides[cell] = 0;
  const besides = measureSky(grid, light, isBesides);
  const glowStops = Math.max(0, Math.log2(whole.mean / besides.mean));
  const part = (glowStops - HARMLESS_STOPS) / (HARMFUL_STOPS - HARMLESS_STOPS);
  const wanted = isTown ? Math.min(1, Math.max(0, part)) : 0;
  const fade = 1 / FADE_FRAMES;
  const share = Math.min(memory.share + fade, Math.max(memory.share - fade, wanted));
  const mix = (a: number, b: number): number => a * (b / a) ** share;
  return {
    statistics: {
      ...(share > 0.5 ? besides : whole),
      mean: mix(whole.mean, besides.mean),
      peak: mix(whole.peak, besides.peak),
    },
    leftOutStops: share * glowStops,
    memory: { share, watched },
  };
}

/** The watched glow after a frame in which cells of a glow were found, or none. */
function watch(
  before: GlowMemory["watched"],
  seen: {
    readonly light: LightMap;
    readonly glowCells: readonly number[];
    readonly exposure: Exposure;
    readonly atMs: MonotonicMs;
  },
): GlowMemory["watched"] {
  const { light, glowCells, exposure, atMs } = seen;
  if (glowCells.length === 0) return before;
  const luminances = glowCells.map((cell) => light.luminance[cell]!);
  const brightest = Math.max(1e-6, valueAtShare(luminances, 0.95)!);
  const level = Math.log2(luminanceCdM2Of(Math.log2(brightest), exposure));
  const columns = glowCells.reduce((sum, cell) => sum + (cell % light.columns), 0);
  const x = columns / glowCells.length / light.columns;
  if (before !== null && Math.abs(x - before.x) < STEADY_WIDTH) {
    if (before.isTown && level < before.level + TOWN_STOPS) return before;
    if (Math.abs(level - before.level) < STEADY_STOPS) {
      return { ...before, isTown: atMs - before.sinceMs >= STEADY_MINUTES * 60_000 };
    }
  }
  return { level, x, sinceMs: atMs, isTown: false };
}
