import { RAD_PER_DEG } from "../sky/angles.ts";
import type { CurtainMotion } from "../exposure/curtainMotion.ts";
import type { MotionMap } from "./motionMap.ts";
import { shiftSpeedOf, STARS_DEG_PER_SECOND, type CurtainSpeed } from "./shift.ts";
import { smearSpectrumOf, smearSpeedOf, type SmearSpectrum } from "./smear.ts";

/**
 * What the curtains' speed is measured from: the last frames' structure, and how sharp it was. The
 * shift between frames is the finer measure; the smear within them stands in where frames cannot
 * be matched, and where both are known and contradict each other neither is believed.
 */
export type MotionHistory = {
  /** Oldest first; all of one size. */
  readonly maps: readonly MotionMap[];
  readonly spectra: readonly SmearSpectrum[];
};

/** Before the first frame: no maps and no spectra. */
export const NO_MOTION_HISTORY: MotionHistory = { maps: [], spectra: [] };

/** From pixels of the full-size frame to angles. */
type MotionScale = {
  readonly focalLengthMm: number;
  readonly pixelPitchUm: number;
  readonly isScaleGuessed?: boolean;
};

const FRAMES_MAX = 9;
/** Maps older than the newest two are kept this far apart. */
const APART_MS = 3500;
/** Curtains evolve: an older frame shows others. */
const SECONDS_MAX = 60;

/** Adds a frame's map and measures the motion that led to it. */
export function measureMotion(
  history: MotionHistory,
  map: MotionMap,
  scale: MotionScale,
): { motion: CurtainMotion; history: MotionHistory } {
  const maps = history.maps.filter(
    (old) =>
      old.columns === map.columns &&
      old.rows === map.rows &&
      map.midMs - old.midMs <= SECONDS_MAX * 1000 &&
      map.midMs > old.midMs,
  );
  const spectra = maps.length === 0 ? [] : history.spectra;
  const spectrum = smearSpectrumOf(map);
  const speed = agreedSpeed(shiftSpeedOf(maps, map), smearSpeedOf(spectrum, spectra));
  return {
    motion: speed.kind === "unknown" ? speed : asMotion(speed.degPerSecond, scale),
    history: {
      maps: thinned([...maps, map]),
      spectra: [...spectra, spectrum].slice(-FRAMES_MAX),
    },
  };
}

/** Shift and smear contradict each other when they differ by more than this. */
const CONTRADICTION = 2;

/** @param bySmear  Degrees a second; null: not known. */
function agreedSpeed(byShift: CurtainSpeed, bySmear: number | null): CurtainSpeed {
  if (bySmear === null) return byShift;
  if (byShift.kind === "unknown") return { kind: "measured", degPerSecond: bySmear };
  const ratio = byShift.degPerSecond / bySmear;
  return ratio > CONTRADICTION || ratio < 1 / CONTRADICTION
    ? { kind: "unknown", why: "the shift between frames and the smear within them disagree" }
    : byShift;
}

/** The newest two maps, and older ones some seconds apart. */
function thinned(maps: readonly MotionMap[]): readonly MotionMap[] {
  const kept: MotionMap[] = [];
  for (const [index, map] of maps.entries()) {
    const before = kept.at(-1);
    const isApart = before === undefined || map.midMs - before.midMs >= APART_MS;
    if (isApart || index >= maps.length - 2) kept.push(map);
  }
  return kept.slice(-FRAMES_MAX);
}

function asMotion(degPerSecond: number, scale: MotionScale): CurtainMotion {
  if (degPerSecond < STARS_DEG_PER_SECOND) {
    return { kind: "unknown", why: "nothing moves faster than the stars" };
  }
  const pxPerRadian = (scale.focalLengthMm * 1000) / scale.pixelPitchUm;
  return {
    kind: "measured",
    degPerSecond,
    pxPerSecond: degPerSecond * RAD_PER_DEG * pxPerRadian,
    ...(scale.isScaleGuessed ? { isScaleGuessed: true } : {}),
  };
}
