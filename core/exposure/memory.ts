import type { FrameObservation } from "./observation.ts";
import type { ExposureSettings } from "./settings.ts";
import type { SkyMood } from "./skyModels.ts";

/** Levels (log2 cd/m²) of the last minute and a half, oldest first. */
export type RecentLevels = readonly { readonly atSeconds: number; readonly level: number }[];

/** How fast the curtains move, smoothed, in pixels of the full-size frame. */
export type CurtainMemory = {
  readonly pxPerSecond: number;
  /** By a usual frame's pixels, as the camera's are not known; left out: by its own. */
  readonly isScaleGuessed?: true;
  /** Frames in a row in which it could not be measured. */
  readonly unknownCount: number;
  /** Opening of the newest frame that is counted in, seconds on the night's clock. */
  readonly atSeconds: number;
};

/** As long as the longest change that is put into words; half and double change no exposure of the suite (tests/skies). */
const RECENT_SECONDS = 90;

/**
 * The levels with one more: mostly the newest, but a reading may have been overtaken by a later
 * frame's. Drops what is older than needed.
 */
export function recentAfter(recent: RecentLevels, note: RecentLevels[number]): RecentLevels {
  const first = recent.findIndex(({ atSeconds }) => atSeconds > note.atSeconds - RECENT_SECONDS);
  const kept = first < 0 ? [] : first === 0 ? recent : recent.slice(first);
  const at = kept.findLastIndex(({ atSeconds }) => atSeconds <= note.atSeconds) + 1;
  return kept.toSpliced(at, 0, note);
}

/**
 * A motion that could not be measured so many times in a row is counted with less and less. 1 and 6
 * change no exposure of the suite: a bound on how old a speed may be.
 */
const UNKNOWN_COUNT_MAX = 3;
/**
 * In so many seconds the speed halves from then on, and the exposure doubles. When it was dropped at
 * once, three unknown motions in a breakup let one frame of 13 s stand between frames of 1.3 s, ten
 * times as smeared as its neighbours; when it halved with each frame, a batch of late readings did the
 * same. Two stops in the time of one long frame. Judgement.
 */
const UNKNOWN_HALF_LIFE_SECONDS = 10;
/** Slower than this nothing smears within any exposure that stars allow. Judgement. */
const STANDING_PX_PER_SECOND = 0.1;

/** The curtains' speed after a frame; null: not known. */
export function curtainsAfter(
  curtains: CurtainMemory | null,
  { motion, openedMs }: Pick<FrameObservation, "motion" | "openedMs">,
): CurtainMemory | null {
  const atSeconds = openedMs / 1000;
  if (motion.kind === "measured" && Number.isFinite(motion.pxPerSecond)) {
    const speed = Math.max(0, motion.pxPerSecond);
    const before = curtains?.pxPerSecond ?? speed;
    // Curtains that quicken are believed at once: the next frame is the one that would smear. Those
    // that slow by half a frame: by a quarter or three quarters the suite moves by 0.2 %.
    return {
      pxPerSecond: Math.max(speed, (before + speed) / 2),
      ...(motion.isScaleGuessed ? { isScaleGuessed: true } : {}),
      unknownCount: 0,
      atSeconds,
    };
  }
  if (curtains === null) return null;
  const unknownCount = curtains.unknownCount + 1;
  if (unknownCount < UNKNOWN_COUNT_MAX) return { ...curtains, unknownCount, atSeconds };
  const passedSeconds = Math.max(0, atSeconds - curtains.atSeconds);
  const pxPerSecond = curtains.pxPerSecond * 0.5 ** (passedSeconds / UNKNOWN_HALF_LIFE_SECONDS);
  if (pxPerSecond < STANDING_PX_PER_SECOND) return null;
  return { ...curtains, pxPerSecond, unknownCount, atSeconds };
}

/** A frame so far over the target clips for that reason, stops. At half and double the protected storm errs by 0.226 and 0.234 stops against 0.237. */
const OVEREXPOSED_STOPS = 0.3;

/**
 * Clipped readings drive the exposure down at once; it comes back slowly. A frame that the sky has
 * overrun says nothing of what would clip at the target.
 *
 * Figures are the error of a storm at target 0, whose highlights are protected, 0.237 stops RMS and
 * no frame clipped: a step down of 0.1 at half and double 0.220 and 0.261, what the excess adds 0.229
 * and 0.242, the way back of 0.05 a frame 0.256 and 0.219. The bounds of 3 stops and 64 times change
 * nothing at half and double. A third of the limit as its threshold errs by 0.206 stops, half of it by
 * 0.248; double by 0.142, with steps from frame to frame of 0.095 stops for 0.088 and still no frame
 * clipped: judgement, as a film shows the steps, while the error is an even darkening
 * (`npx tsx tests/bench/constants.ts --only storm`).
 *
 * @param skyStops  What the frame got, the part that was cut off included.
 */
export function loweredAfter(
  loweredStops: number,
  { clippedShare, skyStops }: Pick<FrameObservation, "clippedShare" | "skyStops">,
  { clippedShareMax, targetStops }: ExposureSettings,
): number {
  if (!(clippedShareMax < 1) || !(clippedShare >= 0)) return 0;
  if (clippedShare > clippedShareMax) {
    if (skyStops > targetStops + OVEREXPOSED_STOPS) return loweredStops;
    const excess = Math.log2(Math.min(64, clippedShare / Math.max(1e-4, clippedShareMax)));
    return Math.min(3, loweredStops + 0.1 + 0.1 * excess);
  }
  return clippedShare > clippedShareMax / 3 ? loweredStops : Math.max(0, loweredStops - 0.05);
}

/** The sky must swing by so much about its trend before the photographer reads that it pulsates. Chooses a word, no exposure; judgement. */
const PULSE_STOPS_MIN = 0.15;

/** The forecast may rest on a mean-reverting model in a quiet sky too; it is not reported as pulsation. */
export function moodToTell(mood: SkyMood, recent: RecentLevels): SkyMood {
  if (mood !== "pulsing") return mood;
  const first = recent[0];
  const last = recent.at(-1);
  if (first === undefined || last === undefined || recent.length < 4) return "still";
  const slope = (last.level - first.level) / Math.max(1e-9, last.atSeconds - first.atSeconds);
  const swings = recent.map(
    ({ atSeconds, level }) => level - first.level - slope * (atSeconds - first.atSeconds),
  );
  const swingStops = Math.max(...swings) - Math.min(...swings);
  if (swingStops >= PULSE_STOPS_MIN) return "pulsing";
  return Math.abs(last.level - first.level) >= PULSE_STOPS_MIN ? "trending" : "still";
}
