/**
 * How much longer or shorter a camera's exposure times are than the standard's unit says, judged by
 * its own list of them.
 *
 * The standard counts tenths of a millisecond. Some cameras count milliseconds or microseconds: then
 * the list ends at three seconds and holds no step of its own below a tenth of a millisecond, or it
 * ends at an hour and its fastest speed is slower than a hundredth of a second. No camera's own
 * timer is like that: their lists go from a four-thousandth of a second or so to half a minute.
 *
 * @param ladderSeconds  Times as the standard's unit has them, rising.
 * @returns the factor that brings them to seconds; 1: the standard's unit it is.
 * Source: MTP 1.1, appendix C.2.13 for the unit; common practice, no source, for the lists.
 */
export function unitFactorOf(ladderSeconds: readonly number[]): 1 | 10 | 0.01 {
  const [fastest] = ladderSeconds;
  const slowest = ladderSeconds.at(-1);
  if (fastest === undefined || slowest === undefined || ladderSeconds.length < RUNGS_MIN) return 1;
  const isIn = (value: number, [low, high]: readonly [number, number]): boolean =>
    value >= low && value <= high;
  if (isIn(slowest * 10, SLOWEST_SECONDS) && fastest <= MILLISECOND_READ_AS) return 10;
  if (isIn(slowest / 100, SLOWEST_SECONDS) && fastest >= MICROSECONDS_READ_AS) return 0.01;
  return 1;
}

/** Fewer say too little. */
const RUNGS_MIN = 8;
/** Where a camera's own timer ends: common practice, no source. */
const SLOWEST_SECONDS = [20, 70] as const;
/** One millisecond, the shortest that such a list can hold, by the standard's unit. */
const MILLISECOND_READ_AS = 0.0001;
/** An eight-thousandth of a second, 125 microseconds, by the standard's unit. */
const MICROSECONDS_READ_AS = 0.0125;
