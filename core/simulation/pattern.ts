import { NOISE_LINE_COUNT, noiseAt } from "./noise.ts";
import type { Rgb } from "./colour.ts";
import { dot, type Direction } from "../sky/direction.ts";

/**
 * Upright rays that drift at a known speed, for tests of code that measures motion: brightness
 * depends only on the angle around an axis, and turns about it.
 */
export type DriftingPattern = {
  /** The axis of the turn; the frame's own upward direction makes rays upright in the picture. */
  readonly axis: Direction;
  /** From where the angle is counted, at a right angle to the axis. */
  readonly zero: Direction;
  readonly degPerSecond: number;
  /** Width of a ray, degrees. */
  readonly widthDeg: number;
  /** What the filters see at the mean brightness, cd/m². */
  readonly seen: Rgb;
  /** 0 even .. 1 from dark to twice the mean. */
  readonly contrast: number;
  /** The band about the plane at a right angle to the axis that is lit, degrees from it. */
  readonly fromDeg: number;
  readonly toDeg: number;
  readonly rays: Float32Array;
};

/** Moments into which an exposure is cut, at most. */
const MOMENTS_MAX = 24;

/**
 * Brightness of a pattern toward a direction over its mean, averaged over an exposure.
 *
 * @param atSeconds  Opening of the shutter since the night's start.
 */
export function patternShare(
  pattern: DriftingPattern,
  direction: Direction,
  atSeconds: number,
  seconds: number,
): number {
  const sine = dot(direction, pattern.axis);
  const heightDeg = (Math.asin(Math.max(-1, Math.min(1, sine))) * 180) / Math.PI;
  const edge = Math.min(1, (heightDeg - pattern.fromDeg) / 1.5, (pattern.toDeg - heightDeg) / 4);
  if (edge <= 0) return 0;
  const { axis, zero } = pattern;
  const side: Direction = [
    zero[1] * axis[2] - zero[2] * axis[1],
    zero[2] * axis[0] - zero[0] * axis[2],
    zero[0] * axis[1] - zero[1] * axis[0],
  ];
  const angleDeg = (Math.atan2(dot(direction, side), dot(direction, zero)) * 180) / Math.PI;
  const smear = Math.abs(pattern.degPerSecond * seconds) / pattern.widthDeg;
  const moments = Math.max(1, Math.min(MOMENTS_MAX, Math.ceil(smear * 6)));
  let sum = 0;
  for (let index = 0; index < moments; index += 1) {
    const at = atSeconds + (seconds * (index + 0.5)) / moments;
    const place = (angleDeg - pattern.degPerSecond * at) / pattern.widthDeg;
    sum += noiseAt(pattern.rays, place + NOISE_LINE_COUNT / 2);
  }
  return edge * (1 + pattern.contrast * (2 * (sum / moments) - 1));
}
