/**
 * How likely chance alone gives so many hits or more, as a power of ten.
 *
 * @param probability  Of one hit by chance, 0..1.
 * Source: the binomial distribution's upper tail, by its first term and the ratio of the next ones.
 */
export function chanceLog10(options: {
  readonly trials: number;
  readonly hits: number;
  readonly probability: number;
}): number {
  const { trials, hits, probability } = options;
  if (hits <= 0 || hits <= trials * probability) return 0;
  if (hits > trials) return -Infinity;
  let log = hits * Math.log(probability) + (trials - hits) * Math.log1p(-probability);
  for (let at = 1; at <= hits; at += 1) log += Math.log((trials - hits + at) / at);
  const ratio = ((trials - hits) / (hits + 1)) * (probability / (1 - probability));
  return Math.min(0, (log - Math.log1p(-Math.min(0.99, ratio))) / Math.LN10);
}
