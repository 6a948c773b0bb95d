/** Median of finite numbers; NaN when there are none. Even counts give the mean of the middle two. */
export function medianOf(values: readonly number[]): number {
  return medianOfRising(rising(values.filter((value) => Number.isFinite(value))));
}

/** As `medianOf`, of numbers that rise already. */
export function medianOfRising(values: ArrayLike<number>): number {
  const middle = values.length >> 1;
  if (values.length === 0) return NaN;
  return values.length % 2 === 1 ? values[middle]! : (values[middle - 1]! + values[middle]!) / 2;
}

/**
 * The value in the middle, the upper one of two: always one that occurred, as a usual pause or
 * delay should be. Undefined when there are none.
 */
export function middleOf(values: ArrayLike<number>): number | undefined {
  return valueAtShare(values, 0.5);
}

/**
 * The value at a share (0..1) of the rising order: always one that occurred, the upper one of two.
 * Undefined when there are none.
 */
export function valueAtShare(values: ArrayLike<number>, share: number): number | undefined {
  return valueAtShareOfRising(rising(values), share);
}

/** As `valueAtShare`, of numbers that rise already. */
export function valueAtShareOfRising(values: ArrayLike<number>, share: number): number | undefined {
  return values[Math.min(values.length - 1, Math.floor(share * values.length))];
}

/** As `middleOf`, where each value counts by its weight; undefined when there are none. */
export function weightedMiddleOf(
  values: readonly number[],
  weights: readonly number[],
): number | undefined {
  const pairs = values
    .map((value, k) => ({ value, weight: weights[k]! }))
    .sort((a, b) => a.value - b.value);
  const half = pairs.reduce((sum, { weight }) => sum + weight, 0) / 2;
  let below = 0;
  for (const { value, weight } of pairs) {
    below += weight;
    if (below >= half) return value;
  }
  return pairs.at(-1)?.value;
}

/**
 * Percentile by the nearest rank: the smallest value that the share (0..1) of the values does not
 * exceed; 0 when there are none.
 */
export function nearestRankOf(values: readonly number[], share: number): number {
  const last = values.length - 1;
  return rising(values)[Math.min(last, Math.max(0, Math.ceil(share * values.length) - 1))] ?? 0;
}

/** The value below which the share (0..1) of the finite numbers lies; NaN when there are none. */
export function quantileOf(values: readonly number[], share: number): number {
  const sorted = rising(values.filter((value) => Number.isFinite(value)));
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

function rising(values: ArrayLike<number>): Float64Array {
  return Float64Array.from(values).sort();
}
