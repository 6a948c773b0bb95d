/** Level (log2 cd/m²) of one frame, at the middle of its exposure. */
export type LevelNote = { readonly atSeconds: number; readonly level: number };

/** One minute of quiet sky. */
type CalmMinute = {
  readonly minute: number;
  /** The two brightest frames: the second one is not a flash. */
  readonly highest: number;
  readonly second: number;
  /** Sum and number of the levels, for their mean. */
  readonly sum: number;
  readonly count: number;
};

/** How bright the quiet sky was, minute by minute, oldest first; plain data. */
export type Calm = { readonly minutes: readonly CalmMinute[] };

/** The quiet is remembered for so long: longer than most clouds take to pass. */
const MEMORY_MINUTES = 20;
/** The slow trend is taken over so many minutes. */
const TREND_MINUTES = 6;
/** No twilight is steeper: the Sun sinking straight down, 23 stop/h. Source: Patat et al. 2006. */
const TREND_STOPS_PER_MINUTE_MAX = 0.4;

export function startCalm(): Calm {
  return { minutes: [] };
}

/** Adds a frame, which must not be older than the ones before it. */
export function calmAfter({ minutes }: Calm, note: LevelNote): Calm {
  const minute = Math.floor(note.atSeconds / 60);
  const last = minutes.at(-1);
  if (last?.minute === minute) {
    const added: CalmMinute = {
      minute,
      highest: Math.max(last.highest, note.level),
      second: Math.max(
        Math.min(last.highest, note.level),
        last.count === 1 ? -Infinity : last.second,
      ),
      sum: last.sum + note.level,
      count: last.count + 1,
    };
    return { minutes: [...minutes.slice(0, -1), added] };
  }
  const fresh: CalmMinute = {
    minute,
    highest: note.level,
    second: note.level,
    sum: note.level,
    count: 1,
  };
  return { minutes: [...minutes.filter((kept) => kept.minute > minute - MEMORY_MINUTES), fresh] };
}

/**
 * How bright the sky may be and still be as quiet as it was: the brightest of the last twenty
 * minutes, single flashes left out, carried on along the slow trend where that rises.
 *
 * @returns Level; null until two minutes of quiet are known.
 */
export function calmCeiling({ minutes }: Calm, nowSeconds: number): number | null {
  if (minutes.length < 2) return null;
  let highest = -Infinity;
  let second = -Infinity;
  for (const { second: level } of minutes) {
    if (level > highest) [highest, second] = [level, highest];
    else if (level > second) second = level;
  }
  const last = minutes.at(-1)!;
  // In the newest minutes even the brightest counts when the sky has been rising steadily.
  const carried = mean(last) + trendOf(minutes) * Math.max(0, nowSeconds / 60 - last.minute - 0.5);
  return Math.max(second, Math.min(highest, carried), carried);
}

function mean({ sum, count }: CalmMinute): number {
  return sum / count;
}

/** Steady rise over the last minutes, stops a minute; 0 where the sky does not rise. */
function trendOf(minutes: readonly CalmMinute[]): number {
  const last = minutes.at(-1)!;
  const first = minutes.find(({ minute }) => minute >= last.minute - TREND_MINUTES)!;
  if (first === last) return 0;
  const slope = (mean(last) - mean(first)) / (last.minute - first.minute);
  return Math.min(TREND_STOPS_PER_MINUTE_MAX, Math.max(0, slope));
}
