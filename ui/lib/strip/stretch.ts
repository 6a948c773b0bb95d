/** A stretch of the night, as the strip shows it. */
export type Stretch = { readonly startUtcMs: number; readonly endUtcMs: number };

/** The strip goes down to a minute: a handful of frames at full pace. */
export const STRETCH_MS_MIN = 60_000;

/**
 * The stretch after zooming around a moment, which stays where it is on the screen.
 *
 * @param options.factor  Above 1: closer.
 */
export function zoomed(
  shown: Stretch,
  whole: Stretch,
  options: { factor: number; aroundUtcMs: number },
): Stretch {
  const { factor, aroundUtcMs } = options;
  const shownMs = lengthMs(shown);
  const wantedMs = Math.min(
    lengthMs(whole),
    Math.max(Math.min(STRETCH_MS_MIN, lengthMs(whole)), shownMs / factor),
  );
  const share = (aroundUtcMs - shown.startUtcMs) / shownMs;
  const startUtcMs = aroundUtcMs - share * wantedMs;
  return within({ startUtcMs, endUtcMs: startUtcMs + wantedMs }, whole);
}

/** The stretch moved along the night, not beyond its ends. */
export function panned(shown: Stretch, whole: Stretch, byMs: number): Stretch {
  const { startUtcMs, endUtcMs } = shown;
  return within({ startUtcMs: startUtcMs + byMs, endUtcMs: endUtcMs + byMs }, whole);
}

/** A stretch that has a moment in it as it is; else moved to show it, with some room around it. */
export function showing(shown: Stretch, whole: Stretch, utcMs: number): Stretch {
  const roomMs = lengthMs(shown) * 0.04;
  if (utcMs < shown.startUtcMs) {
    return panned(shown, whole, utcMs - roomMs - shown.startUtcMs);
  }
  if (utcMs > shown.endUtcMs) {
    return panned(shown, whole, utcMs + roomMs - shown.endUtcMs);
  }
  return shown;
}

export function lengthMs({ startUtcMs, endUtcMs }: Stretch): number {
  return endUtcMs - startUtcMs;
}

function within(stretch: Stretch, whole: Stretch): Stretch {
  const long = Math.min(lengthMs(stretch), lengthMs(whole));
  const startUtcMs = Math.min(
    Math.max(stretch.startUtcMs, whole.startUtcMs),
    whole.endUtcMs - long,
  );
  return { startUtcMs, endUtcMs: startUtcMs + long };
}
