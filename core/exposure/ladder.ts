/**
 * Nominal ISO values in third stops, as cameras name them.
 * Source: ISO 12232's preferred values as commonly marked; common practice.
 */
export const THIRD_STOP_ISO: readonly number[] = [
  50, 64, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200,
  4000, 5000, 6400, 8000, 10000, 12800, 16000, 20000, 25600, 32000, 40000, 51200, 64000, 80000,
  102400,
];

/**
 * ISO values that may be used, ascending, never empty.
 *
 * @param ladder  What the camera can set, in any order; empty: third stops between the limits, and
 *   the limits themselves.
 * @returns The rungs within the limits. When no rung lies within them, the rung nearest to them:
 *   the camera cannot do otherwise.
 */
export function usableIsos(
  ladder: readonly number[],
  limits: { readonly isoMin: number; readonly isoMax: number },
): readonly number[] {
  const low = Math.min(limits.isoMin, limits.isoMax);
  const high = Math.max(limits.isoMin, limits.isoMax);
  const isOpen = ladder.length === 0;
  const within: number[] = isOpen ? [low] : [];
  let isAscending = true;
  for (const iso of isOpen ? THIRD_STOP_ISO : ladder) {
    if (!(iso >= low && iso <= high) || iso === within.at(-1)) continue;
    isAscending &&= within.length === 0 || iso > within.at(-1)!;
    within.push(iso);
  }
  if (isOpen && within.at(-1) !== high) within.push(high);
  if (within.length > 0) return isAscending ? within : ascending(within);
  const edge = (iso: number): number => Math.abs(Math.log2(iso / (iso < low ? low : high)));
  const rungs = ladder.filter((iso) => Number.isFinite(iso) && iso > 0);
  return [rungs.reduce((best, iso) => (edge(iso) < edge(best) ? iso : best), rungs[0] ?? high)];
}

function ascending(isos: readonly number[]): readonly number[] {
  return [...new Set(isos)].sort((a, b) => a - b);
}
