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

/** How bright the quiet sky was; plain data. */
export type Calm = {
  /** The last twenty minutes, oldest first. */
  readonly minutes: readonly CalmMinute[];
  /** Levels that the sky came back to from a darker one, as through gaps in the clouds. */
  readonly clearSky: readonly { readonly minute: number; readonly level: number }[];
};

/** The quiet is remembered for so long: longer than most clouds take to pass. */
const MEMORY_MINUTES = 20;
/** What the sky has come back to is remembered for so long: an overcast with few gaps. */
const CLEAR_SKY_MEMORY_MINUTES = 180;
/** A minute brighter by more than this than one of the twenty before is a return, stops. */
const RETURN_STOPS = 0.3;
/** The slow trend is taken over so many minutes. */
const TREND_MINUTES = 6;
/** No twilight is steeper: the Sun sinking straight down, 23 stop/h. Source: Patat et al. 2006. */
const TREND_STOPS_PER_MINUTE_MAX = 0.4;

/** What is known of a night's calm before its first frame: nothing. */
export function startCalm(): Calm {
  return { minutes: [], clearSky: [] };
}

/** Adds a frame, which must not be older than the ones before it. */
export function calmAfter({ minutes, clearSky }: Calm, note: LevelNote): Calm {
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
    return { minutes: [...minutes.slice(0, -1), added], clearSky };
  }
  const fresh: CalmMinute = {
    minute,
    highest: note.level,
    second: note.level,
    sum: note.level,
    count: 1,
  };
  return {
    minutes: [...minutes.filter((kept) => kept.minute > minute - MEMORY_MINUTES), fresh],
    clearSky: [
      ...clearSky.filter((kept) => kept.minute > minute - CLEAR_SKY_MEMORY_MINUTES),
      ...(last !== undefined && isReturn(last, minutes)
        ? [{ minute: last.minute, level: last.second }]
        : []),
    ],
  };
}

/** True when the sky has become brighter again, in a minute that is over. */
function isReturn({ second }: CalmMinute, minutes: readonly CalmMinute[]): boolean {
  return minutes.some((before) => mean(before) < second - RETURN_STOPS);
}

/**
 * The quiet after a surge begins again, so that the surge does not hide the next one.
 *
 * @param clearLevel  What it had risen to, if that was no aurora but a gap in the clouds; else null.
 */
export function calmAfterSurge(
  { clearSky }: Calm,
  note: LevelNote,
  clearLevel: number | null,
): Calm {
  const minute = Math.floor(note.atSeconds / 60);
  const learned = clearLevel === null ? [] : [{ minute, level: clearLevel }];
  return calmAfter({ minutes: [], clearSky: [...clearSky, ...learned] }, note);
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

/**
 * How bright the clear sky between the clouds has been in the last three hours: the brightest that
 * the sky has come back to. A dusk, which only falls, does not count.
 *
 * @returns Level; -Infinity where the sky has not come back to any.
 */
export function clearSkyLevel({ clearSky }: Calm): number {
  return clearSky.reduce((brightest, { level }) => Math.max(brightest, level), -Infinity);
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
