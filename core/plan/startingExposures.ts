import type { Exposure } from "../exposure/exposure.ts";
import type { Kit } from "./kit.ts";

/** An exposure to begin with, and why. */
export type StartingExposure = Exposure & { readonly why: string };

/** What stopping down would bring and cost. */
export type StoppingDown = {
  readonly fNumber: number;
  readonly stops: number;
  /** ISO that would hold the brightness of the quiet start; may lie above the comfort cap. */
  readonly iso: number;
  readonly sentence: string;
};

/** The trade's common start, no source: 15 s at ISO 1600 wide open; around 5 s when curtains run. */
const QUIET = { exposureSeconds: 15, iso: 1600 } as const;
const LIVELY_SECONDS = 5;

/** ISO values in third stops as cameras name them. Common practice, no source. */
const ISO_NAMES: readonly number[] = [
  100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000,
  6400, 8000, 10000, 12800, 16000, 20000, 25600, 32000, 40000, 51200, 64000, 80000, 102400,
];

/** The nearest ISO that a camera names, in stops. */
export function nearestIso(iso: number): number {
  const distance = (name: number): number => Math.abs(Math.log2(name / iso));
  return ISO_NAMES.reduce((best, name) => (distance(name) < distance(best) ? name : best));
}

/**
 * Exposures to begin with under a quiet and under a lively sky: the trade's common start, with
 * ISO making up for a shorter time, up to the comfort cap.
 *
 * @param trailSeconds  Longest exposure before stars trail.
 */
export function startingExposures(
  kit: Kit,
  trailSeconds: number,
): { readonly quiet: StartingExposure; readonly lively: StartingExposure } {
  const quietSeconds = Math.min(QUIET.exposureSeconds, trailSeconds);
  const livelySeconds = Math.min(LIVELY_SECONDS, trailSeconds);
  return {
    quiet: {
      ...startAt(kit, quietSeconds),
      why:
        quietSeconds < QUIET.exposureSeconds
          ? "as long as the stars allow, ISO making up for it"
          : "the trade's common start for a quiet arc, wide open",
    },
    lively: {
      ...startAt(kit, livelySeconds),
      why: "short enough to keep columns when curtains run, at a higher ISO",
    },
  };
}

function startAt(kit: Kit, exposureSeconds: number): Exposure {
  const iso = nearestIso((QUIET.iso * QUIET.exposureSeconds) / exposureSeconds);
  return {
    exposureSeconds,
    iso: Math.min(iso, Math.max(100, kit.isoComfortMax)),
    fNumber: kit.fNumberWidest,
  };
}

/**
 * A word on stopping down by a stop for sharper corners, and what it costs. Common practice, no
 * source: most fast lenses gain in the corners within a stop from wide open.
 */
export function stoppingDown(kit: Kit, quiet: Exposure): StoppingDown {
  const stops = kit.fNumberWidest >= 4 ? 0 : 1;
  const fNumber = Math.round(kit.fNumberWidest * 2 ** (stops / 2) * 10) / 10;
  const iso = nearestIso(quiet.iso * 2 ** stops);
  const isOver = iso > kit.isoComfortMax;
  const sentence =
    stops === 0
      ? `At f/${kit.fNumberWidest} the lens has no light to give away: leave it wide open.`
      : `f/${fNumber} sharpens the corners and costs a stop: ISO ${iso} instead of ${quiet.iso}` +
        (isOver ? `, above your cap of ${kit.isoComfortMax}; stay wide open.` : ".");
  return { fNumber, stops, iso, sentence };
}
