/** A frame whose file has not come yet. */
export type AwaitedFrame = {
  readonly frameIndex: number;
  readonly openedUtcMs: number;
  readonly exposureSeconds: number;
};

/** What a file says of when and how long it was exposed; null: it does not say. */
export type FileTimes = {
  /** By the camera's own clock, as if that were UTC. */
  readonly captureMs: number | null;
  readonly exposureSeconds: number | null;
};

type Pairing = {
  readonly frameIndex: number;
  /** Camera clock less ours as this pair shows it; null: the file has no time. */
  readonly offsetMs: number | null;
};

/** Capture dates come in whole seconds, and a body may take half a second to open. */
const TIME_TOLERANCE_MS = 2_500;
/** Exposure times in files are rounded; bulb ones often to the second. */
const EXPOSURE_TOLERANCE_STOPS = 0.3;
const EXPOSURE_TOLERANCE_SECONDS = 1;

/**
 * Which frame a file belongs to.
 *
 * Once the camera's clock is known from an earlier pair, the frame that was opened when the file
 * says; before that the oldest whose exposure agrees, and where files do not tell, the oldest.
 *
 * @param awaited  Oldest first.
 * @param offsetMs  Camera clock less ours, from earlier pairs; null: not known.
 * @returns null when the file is none of these frames'.
 */
export function pairFile(
  file: FileTimes,
  awaited: readonly AwaitedFrame[],
  offsetMs: number | null,
): Pairing | null {
  const agreeing = awaited.filter((frame) => agrees(file, frame));
  const { captureMs } = file;
  if (captureMs !== null && offsetMs !== null) {
    const away = (frame: AwaitedFrame): number =>
      Math.abs(captureMs - offsetMs - frame.openedUtcMs);
    const near = awaited.filter((frame) => away(frame) <= TIME_TOLERANCE_MS);
    const [nearest] = [...near].sort((a, b) => away(a) - away(b));
    // The exposure speaks against the time: the clock was learned from a wrong pair.
    const better = nearest && !agrees(file, nearest) ? agreeing[0] : nearest;
    return better ? pairOf(file, better) : null;
  }
  const oldest = agreeing[0] ?? awaited[0];
  return oldest ? pairOf(file, oldest) : null;
}

function pairOf({ captureMs }: FileTimes, frame: AwaitedFrame): Pairing {
  const offsetMs = captureMs === null ? null : captureMs - frame.openedUtcMs;
  return { frameIndex: frame.frameIndex, offsetMs };
}

/** True as well when the file does not tell its exposure. */
function agrees({ exposureSeconds }: FileTimes, frame: AwaitedFrame): boolean {
  if (exposureSeconds === null || exposureSeconds <= 0) return true;
  const stops = Math.abs(Math.log2(exposureSeconds / frame.exposureSeconds));
  const seconds = Math.abs(exposureSeconds - frame.exposureSeconds);
  return stops <= EXPOSURE_TOLERANCE_STOPS || seconds <= EXPOSURE_TOLERANCE_SECONDS;
}
