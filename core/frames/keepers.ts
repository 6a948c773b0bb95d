import { medianOf, quantileOf } from "./medians.ts";

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

export type KeeperWord = {
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
export const KEEPER_COUNT = 12;

/** How much each counts: structure makes an aurora picture, the rest can spoil it. Common practice, no source. */
const WEIGHTS = { structure: 0.45, colour: 0.25, sharpness: 0.3 } as const;

/** Two pictures whose cells differ by this much, stops RMS, are different pictures. */
const DIFFERENT_STOPS = 0.5;

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
 * takes from those that look like it. What the photographer picked comes first and always; what
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
  while (chosen.length < count && rest.size > 0) {
    const best = [...rest]
      .map((one) => ({ one, worth: one.score * difference(one.candidate, chosen) }))
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
  if (parts.sharpness >= 0.6) reasons.push("sharp");
  if (reasons.length === 0) reasons.push("unlike the others");
  if (candidate.clippedShare < 0.0005) reasons.push("highlights whole");
  return reasons;
}

/** 0: the same picture as one already chosen; 1: like none of them. */
function difference(candidate: KeeperCandidate, chosen: readonly Rated[]): number {
  return chosen.reduce((least, other) => {
    const rms = cellDistance(candidate.cellStops, other.candidate.cellStops);
    return Math.min(least, rms / (rms + DIFFERENT_STOPS));
  }, 1);
}

function cellDistance(one: readonly (number | null)[], other: readonly (number | null)[]): number {
  const differences = one.flatMap((value, k) => {
    const there = other[k];
    return value === null || there === null || there === undefined ? [] : [value - there];
  });
  if (differences.length === 0) return 0;
  return Math.sqrt(differences.reduce((sum, value) => sum + value * value, 0) / differences.length);
}
