/** A stretch of time, milliseconds since 1970. */
export type Stretch = { readonly startMs: number; readonly endMs: number };

/** A moment at which a curve passes a level. */
export type Crossing = { readonly atMs: number; readonly direction: "rising" | "falling" };

/**
 * Every moment in a stretch at which a smooth curve passes a level, in order.
 *
 * Between the samples the curve is searched for a turning point as well, so that a body which
 * only just shows itself, or only just dips, is not stepped over.
 *
 * @param curve  Value at a time; smooth on the scale of `stepMs`.
 * @param stepMs  Distance of the samples; ten minutes suit Sun and Moon.
 * @returns Times exact to a tenth of a second; empty when the level is never passed.
 */
export function crossingsOf(
  curve: (atMs: number) => number,
  level: number,
  stretch: Stretch,
  stepMs = 600_000,
): readonly Crossing[] {
  const knots = knotsOf(curve, stretch, stepMs);
  const found: Crossing[] = [];
  for (let index = 1; index < knots.length; index += 1) {
    const before = knots[index - 1]!;
    const after = knots[index]!;
    if (before.value < level === after.value < level) continue;
    found.push({
      atMs: bisect(curve, level, { startMs: before.atMs, endMs: after.atMs }),
      direction: after.value >= level ? "rising" : "falling",
    });
  }
  return found;
}

/** Time of the curve's lowest value in a stretch, to a second. */
export function lowestMs(
  curve: (atMs: number) => number,
  stretch: Stretch,
  stepMs = 600_000,
): number {
  let lowest = { atMs: stretch.startMs, value: curve(stretch.startMs) };
  for (const knot of knotsOf(curve, stretch, stepMs)) if (knot.value < lowest.value) lowest = knot;
  return lowest.atMs;
}

type Knot = { readonly atMs: number; readonly value: number };

/** The samples, and the turning points between them. */
function knotsOf(
  curve: (atMs: number) => number,
  { startMs, endMs }: Stretch,
  stepMs: number,
): readonly Knot[] {
  const count = Math.max(2, Math.ceil((endMs - startMs) / stepMs));
  const samples: Knot[] = [];
  for (let index = 0; index <= count; index += 1) {
    const atMs = startMs + ((endMs - startMs) * index) / count;
    samples.push({ atMs, value: curve(atMs) });
  }
  const knots: Knot[] = [...samples];
  for (let index = 1; index < samples.length - 1; index += 1) {
    const [a, b, c] = [samples[index - 1]!, samples[index]!, samples[index + 1]!];
    if ((b.value - a.value) * (c.value - b.value) > 0) continue;
    const sign = b.value >= a.value ? -1 : 1;
    knots.push(
      turningPoint((atMs) => sign * curve(atMs), sign, { startMs: a.atMs, endMs: c.atMs }),
    );
  }
  return knots.sort((a, b) => a.atMs - b.atMs);
}

/** Golden-section search for a minimum. Source: Kiefer 1953, Proc. Amer. Math. Soc. 4:502. */
function turningPoint(curve: (atMs: number) => number, sign: number, stretch: Stretch): Knot {
  const ratio = (Math.sqrt(5) - 1) / 2;
  let { startMs: low, endMs: high } = stretch;
  while (high - low > 1000) {
    const left = high - ratio * (high - low);
    const right = low + ratio * (high - low);
    if (curve(left) < curve(right)) high = right;
    else low = left;
  }
  const atMs = (low + high) / 2;
  return { atMs, value: sign * curve(atMs) };
}

function bisect(curve: (atMs: number) => number, level: number, stretch: Stretch): number {
  let { startMs: low, endMs: high } = stretch;
  const startsBelow = curve(low) < level;
  while (high - low > 100) {
    const middle = (low + high) / 2;
    if (curve(middle) < level === startsBelow) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}
