/** One focus frame's measure. */
export type FocusPoint = {
  readonly index: number;
  /** Median width of the stars, or of the one far light, pixels of the measured picture; null: none found. */
  readonly widthPx: number | null;
  readonly starCount: number;
  /** Brightness of the stars, stops; a star in focus is brighter at its peak, not in sum. */
  readonly lightStops: number | null;
};

/** What the trace says while the ring is turned. */
export type FocusVerdict =
  | { readonly kind: "searching" }
  | { readonly kind: "noStars" }
  | { readonly kind: "sharpening"; readonly widthPx: number }
  | { readonly kind: "softening"; readonly widthPx: number }
  | { readonly kind: "steady"; readonly widthPx: number }
  /** The best lies behind: turn back by about so many frames' worth of turning. */
  | {
      readonly kind: "passed";
      readonly widthPx: number;
      readonly bestPx: number;
      readonly framesAgo: number;
    }
  /** Back at the best that the trace has seen, with wider stars on both sides of it. */
  | { readonly kind: "atBest"; readonly widthPx: number; readonly bestPx: number };

/** Widths closer than this to the best count as the best. Common practice, no source. */
const AT_BEST_RATIO = 1.07;
/** Wider than the best by so much, twice in a row, and the best has been passed. */
const PASSED_RATIO = 1.15;
/** A change over three frames that is more than the measure's own scatter. */
const TREND_RATIO = 1.05;

/**
 * What a focus trace says: whether the stars sharpen or soften, and whether the best was passed.
 *
 * @param points  Oldest first; any number.
 */
export function judgeFocus(points: readonly FocusPoint[]): FocusVerdict {
  const newest = points.at(-1);
  if (!newest) return { kind: "searching" };
  if (newest.widthPx === null) return { kind: "noStars" };
  const measured = points.flatMap(({ index, widthPx }) =>
    widthPx === null ? [] : [{ index, widthPx }],
  );
  const { widthPx } = newest;
  const best = measured.reduce((low, point) => (point.widthPx <= low.widthPx ? point : low));
  const before = measured.filter(({ index }) => index < best.index);
  const after = measured.filter(({ index }) => index > best.index);
  const wasWider = (side: readonly { readonly widthPx: number }[]): boolean =>
    side.some((point) => point.widthPx > PASSED_RATIO * best.widthPx);
  const lastTwo = measured.slice(-2);
  const areBothWider =
    lastTwo.length === 2 && lastTwo.every((point) => point.widthPx > PASSED_RATIO * best.widthPx);
  if (areBothWider && after.length >= 2 && before.length > 0) {
    return {
      kind: "passed",
      widthPx,
      bestPx: best.widthPx,
      framesAgo: newest.index - best.index,
    };
  }
  const isAtBest = widthPx <= AT_BEST_RATIO * best.widthPx;
  if (isAtBest && wasWider(before) && (wasWider(after) || sawBestTwice(measured, best.widthPx))) {
    return { kind: "atBest", widthPx, bestPx: best.widthPx };
  }
  const earlier = measured.at(-4)?.widthPx ?? measured[0]!.widthPx;
  if (widthPx * TREND_RATIO < earlier) return { kind: "sharpening", widthPx };
  if (widthPx > TREND_RATIO * earlier) return { kind: "softening", widthPx };
  return { kind: "steady", widthPx };
}

/** The ring went past the best and came back: two stretches near it with wider stars between. */
function sawBestTwice(measured: readonly { readonly widthPx: number }[], bestPx: number): boolean {
  let stretches = 0;
  let isNear = false;
  for (const { widthPx } of measured) {
    if (!isNear && widthPx <= AT_BEST_RATIO * bestPx) {
      stretches += 1;
      isNear = true;
    } else if (widthPx > PASSED_RATIO * bestPx) isNear = false;
  }
  return stretches >= 2;
}
