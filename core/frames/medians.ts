/** Median of finite numbers; NaN when there are none. Even counts give the mean of the middle two. */
export function medianOf(values: readonly number[]): number {
  const sorted = values.filter((value) => Number.isFinite(value)).sort((a, b) => a - b);
  const middle = sorted.length >> 1;
  if (sorted.length === 0) return NaN;
  return sorted.length % 2 === 1 ? sorted[middle]! : (sorted[middle - 1]! + sorted[middle]!) / 2;
}

/** The value below which the share (0..1) of the finite numbers lies; NaN when there are none. */
export function quantileOf(values: readonly number[], share: number): number {
  const sorted = values.filter((value) => Number.isFinite(value)).sort((a, b) => a - b);
  if (sorted.length === 0) return NaN;
  const position = share * (sorted.length - 1);
  const below = Math.floor(position);
  const above = Math.min(sorted.length - 1, below + 1);
  return sorted[below]! + (position - below) * (sorted[above]! - sorted[below]!);
}

/**
 * Weighted median: half of the weight lies on either side, interpolated between the middle values.
 * Pairs whose value is not finite or whose weight is not positive do not count; none left: NaN.
 */
export function weightedMedianOf(values: readonly number[], weights: readonly number[]): number {
  const pairs = values
    .map((value, k) => ({ value, weight: weights[k]! }))
    .filter(({ value, weight }) => Number.isFinite(value) && weight > 0)
    .sort((a, b) => a.value - b.value);
  if (pairs.length === 0) return NaN;
  const total = pairs.reduce((sum, pair) => sum + pair.weight, 0);
  let below = 0;
  let previous = { centre: -Infinity, value: pairs[0]!.value };
  for (const { value, weight } of pairs) {
    const centre = below + weight / 2;
    if (centre >= total / 2) {
      if (previous.centre === -Infinity) return value;
      const part = (total / 2 - previous.centre) / (centre - previous.centre);
      return previous.value + part * (value - previous.value);
    }
    previous = { centre, value };
    below += weight;
  }
  return previous.value;
}
