/**
 * Pairs two rising series of times in order, so that as many as possible are paired and, among
 * those ways, the times differ least.
 *
 * @param first  Milliseconds, rising.
 * @param second  Milliseconds, rising.
 * @param toleranceMs  For each of `first`: how far its partner may be.
 * @returns Pairs of indices, rising in both.
 * Source: sequence alignment by dynamic programming (Needleman and Wunsch 1970), gaps free of
 * cost, a pair worth one tolerance less its distance.
 */
export function alignByTime(
  first: readonly number[],
  second: readonly number[],
  toleranceMs: readonly number[],
): readonly (readonly [number, number])[] {
  const width = second.length + 1;
  const worth = new Float64Array((first.length + 1) * width);
  const pairWorth = (i: number, j: number): number => {
    const distance = Math.abs(first[i]! - second[j]!);
    // One whole pair always outweighs how well the others fit.
    return distance <= toleranceMs[i]! ? 1 + 1e-3 * (1 - distance / (toleranceMs[i]! + 1)) : 0;
  };
  for (let i = first.length - 1; i >= 0; i -= 1) {
    for (let j = second.length - 1; j >= 0; j -= 1) {
      const skip = Math.max(worth[(i + 1) * width + j]!, worth[i * width + j + 1]!);
      const pair = pairWorth(i, j);
      const paired = pair === 0 ? 0 : pair + worth[(i + 1) * width + j + 1]!;
      worth[i * width + j] = Math.max(skip, paired);
    }
  }
  const pairs: [number, number][] = [];
  let i = 0;
  let j = 0;
  while (i < first.length && j < second.length) {
    const here = worth[i * width + j]!;
    const pair = pairWorth(i, j);
    if (pair > 0 && here === pair + worth[(i + 1) * width + j + 1]!) {
      pairs.push([i, j]);
      i += 1;
      j += 1;
    } else if (here === worth[(i + 1) * width + j]!) i += 1;
    else j += 1;
  }
  return pairs;
}
