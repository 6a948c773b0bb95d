import { medianOf, quantileOf } from "../statistics.ts";

/** What ranking needs of one frame. */
export type KeeperCandidate = {
  readonly cameraId: string;
  readonly frameIndex: number;
  readonly openedUtcMs: number | null;
  /** log2 of the picture's mean light; only compared within the night. */
  readonly meanStops: number;
  /** Unevenness of the light, stops RMS. */
  readonly structure: number;
  /** Saturation of the brighter parts, 0..1. */
  readonly colour: number;
  /** Higher is sharper; only compared within the night. */
  readonly sharpness: number;
  /** Share of pixels at the ceiling, 0..1. */
  readonly clippedShare: number;
  /** The picture in small: log2 light of its cells; null where it is dark or clipped. */
  readonly cellStops: readonly (number | null)[];
};

type KeeperWord = {
  readonly cameraId: string;
  readonly frameIndex: number;
  readonly pick: "keep" | "leave";
};

/** A frame worth printing. */
export type Keeper = {
  readonly cameraId: string;
  readonly frameIndex: number;
  readonly openedUtcMs: number | null;
  /** 0..1 within the night. */
  readonly score: number;
  readonly isByHand: boolean;
  /** Plain words: what makes it one. */
  readonly reasons: readonly string[];
};

/** How many are offered. */
const KEEPER_COUNT = 12;

/** How much each counts: structure makes an aurora picture, the rest can spoil it. Common practice, no source. */
const WEIGHTS = { structure: 0.45, colour: 0.25, sharpness: 0.3 } as const;

/** Pictures whose light is spread differently by this much, stops RMS, are half as good as strangers. */
const DIFFERENT_STOPS = 0.5;

/** So are pictures that lie a tenth of a keeper's fair share of the night apart. */
const DIFFERENT_SHARE = 0.1;

/** Worth of a frame that leads in nothing. */
const FLOOR = 0.05;

/** A frame this much darker or brighter than the night's usual one was exposed for something else. */
const USUAL_STOPS = 1.5;

/** A hundredth of the picture at the ceiling halves the score. */
const CLIPPED_HALF = 0.01;

/**
 * The frames most worth printing, best first, no two alike.
 *
 * Structure, colour and sharpness are ranked within the night, clipping takes off, and each choice
 * takes from those that look like it or were taken near it. What the photographer picked comes first and always; what
 * was left by hand never comes.
 */
export function chooseKeepers(
  candidates: readonly KeeperCandidate[],
  words: readonly KeeperWord[] = [],
  count = KEEPER_COUNT,
): readonly Keeper[] {
  const wordOn = new Map(words.map((word) => [`${word.cameraId} ${word.frameIndex}`, word.pick]));
  const keyOf = (one: { cameraId: string; frameIndex: number }): string =>
    `${one.cameraId} ${one.frameIndex}`;
  const rated = rate(candidates);
  const chosen = rated.filter(({ candidate }) => wordOn.get(keyOf(candidate)) === "keep");
  const byHand = new Set(chosen.map(({ candidate }) => keyOf(candidate)));
  const rest = new Set(rated.filter(({ candidate }) => !wordOn.has(keyOf(candidate))));
  const differentMs = (DIFFERENT_SHARE * spanMsOf(candidates)) / count;
  while (chosen.length < count && rest.size > 0) {
    const best = [...rest]
      .map((one) => ({ one, worth: one.score * difference(one.candidate, chosen, differentMs) }))
      .reduce((a, b) => (b.worth > a.worth ? b : a));
    rest.delete(best.one);
    // A second print of the same picture is worth nothing, however good the first.
    if (best.worth <= 0) break;
    chosen.push(best.one);
  }
  return chosen.map(({ candidate, score, reasons }) => {
    const isByHand = byHand.has(keyOf(candidate));
    const { cameraId, frameIndex, openedUtcMs } = candidate;
    return {
      cameraId,
      frameIndex,
      openedUtcMs,
      score,
      isByHand,
      reasons: isByHand ? ["your pick", ...reasons] : reasons,
    };
  });
}

type Rated = {
  readonly candidate: KeeperCandidate;
  readonly score: number;
  readonly reasons: readonly string[];
};

function rate(candidates: readonly KeeperCandidate[]): Rated[] {
  const rankOf = (pick: (one: KeeperCandidate) => number): ((one: KeeperCandidate) => number) => {
    const values = candidates.map(pick);
    const [low, high] = [quantileOf(values, 0.05), quantileOf(values, 1)];
    return (one) => (high > low ? Math.min(1, Math.max(0, (pick(one) - low) / (high - low))) : 0.5);
  };
  const structure = rankOf((one) => one.structure);
  const colour = rankOf((one) => one.colour);
  const sharpness = rankOf((one) => one.sharpness);
  const usualStops = medianOf(candidates.map((one) => one.meanStops));
  return candidates.map((candidate) => {
    const parts = {
      structure: structure(candidate),
      colour: colour(candidate),
      sharpness: sharpness(candidate),
    };
    const sum =
      WEIGHTS.structure * parts.structure +
      WEIGHTS.colour * parts.colour +
      WEIGHTS.sharpness * parts.sharpness;
    // Even the night's plainest frame is worth more than a second print of another.
    const unusual = Math.max(0, Math.abs(candidate.meanStops - usualStops) - USUAL_STOPS);
    const spoilt = (1 + candidate.clippedShare / CLIPPED_HALF) * (1 + unusual) ** 2;
    const score = (FLOOR + (1 - FLOOR) * sum) / spoilt;
    return { candidate, score, reasons: reasonsFor(candidate, parts) };
  });
}

function reasonsFor(
  candidate: KeeperCandidate,
  parts: { structure: number; colour: number; sharpness: number },
): string[] {
  const reasons: string[] = [];
  if (parts.structure >= 0.6) reasons.push("strong structure");
  if (parts.colour >= 0.6) reasons.push("rich colour");
  if (reasons.length === 0) reasons.push("unlike the others");
  if (parts.sharpness >= 0.6) reasons.push("sharp");
  if (candidate.clippedShare < 0.0005) reasons.push("highlights whole");
  return reasons;
}

/** 0: the same picture as one already chosen; 1: like none of them, in light and in time. */
function difference(
  candidate: KeeperCandidate,
  chosen: readonly Rated[],
  differentMs: number,
): number {
  return chosen.reduce((least, other) => {
    const inLight = saturating(patternDistance(candidate, other.candidate), DIFFERENT_STOPS);
    const inTime = saturating(timeDistanceMs(candidate, other.candidate), differentMs);
    return Math.min(least, inLight * inTime);
  }, 1);
}

/** 0 for no distance, a half at `half`, towards 1 beyond; what has no measure counts as far. */
function saturating(distance: number, half: number): number {
  return half > 0 && Number.isFinite(distance) ? distance / (distance + half) : 1;
}

/** How differently two pictures' light is spread, stops RMS: the brighter one of two alike is no other. */
function patternDistance(one: KeeperCandidate, other: KeeperCandidate): number {
  const differences = one.cellStops.flatMap((value, k) => {
    const there = other.cellStops[k];
    return value === null || there === null || there === undefined ? [] : [value - there];
  });
  if (differences.length === 0) return 0;
  const mean = differences.reduce((sum, value) => sum + value, 0) / differences.length;
  const squares = differences.reduce((sum, value) => sum + (value - mean) ** 2, 0);
  return Math.sqrt(squares / differences.length);
}

function timeDistanceMs(one: KeeperCandidate, other: KeeperCandidate): number {
  if (one.openedUtcMs === null || other.openedUtcMs === null) return Infinity;
  return Math.abs(one.openedUtcMs - other.openedUtcMs);
}

/** From the first candidate to the last, ms. */
function spanMsOf(candidates: readonly KeeperCandidate[]): number {
  const times = candidates.flatMap((one) => (one.openedUtcMs === null ? [] : [one.openedUtcMs]));
  return (
    times.reduce((a, b) => Math.max(a, b), 0) - times.reduce((a, b) => Math.min(a, b), Infinity)
  );
}
