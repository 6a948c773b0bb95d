import type { DeflickerFrame } from "../../core/frames/deflicker.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import { createRandom } from "../../core/random.ts";

/** A made-up run of frames whose sky and whose camera faults are known exactly. */
export type FlickerNight = {
  readonly frames: readonly DeflickerFrame[];
  /** log2 of the sky's mean light over the picture. */
  readonly skyStops: readonly number[];
  readonly exposureStops: readonly number[];
  /** What the camera added to its own exposure, stops. */
  readonly faultStops: readonly number[];
};

export type FlickerOptions = {
  readonly count?: number;
  readonly secondsBetween?: number;
  readonly seed?: number;
  /** One standard deviation of each frame's scatter, stops. */
  readonly scatterStops?: number;
  /** log2 of the whole sky's light at a time; the aurora's part comes on top. */
  readonly sky?: (seconds: number) => number;
  /** Exposure at a time. */
  readonly exposure?: (seconds: number, frame: number) => Exposure;
  /** Gain error of an ISO value, stops. */
  readonly gain?: (iso: number) => number;
  /** Contrast of the rendering: stops in the file per stop of light. */
  readonly toneSlope?: number;
  /** How much the cells that aurora crosses move on their own, stops. */
  readonly auroraStops?: number;
};

const CELL_COUNT = 48;
/** Cells that aurora crosses. */
const AURORA_CELLS = 20;

export function makeFlickerNight(options: FlickerOptions = {}): FlickerNight {
  const random = createRandom(options.seed ?? 1);
  const {
    count = 120,
    secondsBetween = 8,
    scatterStops = 0.05,
    sky = () => 0,
    exposure = () => ({ exposureSeconds: 6, iso: 1600, fNumber: 2.8 }),
    gain = () => 0,
    toneSlope = 1,
    auroraStops = 0,
  } = options;
  const phases = Array.from({ length: CELL_COUNT }, () => random.uniform() * 2 * Math.PI);
  const levels = Array.from({ length: CELL_COUNT }, () => random.normal() * 0.5);
  const skyStops: number[] = [];
  const exposureStops: number[] = [];
  const faultStops: number[] = [];
  const frames: DeflickerFrame[] = [];
  for (let i = 0; i < count; i += 1) {
    const atSeconds = i * secondsBetween;
    const taken = exposure(atSeconds, i);
    const stops = Math.log2((taken.exposureSeconds * taken.iso) / taken.fNumber ** 2);
    const fault = random.normal() * scatterStops + gain(taken.iso);
    const light = phases.map((phase, k) => {
      const moves = k < AURORA_CELLS ? auroraStops * Math.sin(atSeconds / 17 + phase) : 0;
      return levels[k]! + sky(atSeconds) + moves;
    });
    frames.push({
      atSeconds,
      exposure: taken,
      cellStops: light.map((one) => toneSlope * (one + stops + fault) + random.normal() * 0.002),
      highlightRoomStops: Infinity,
    });
    skyStops.push(Math.log2(light.reduce((sum, one) => sum + 2 ** one, 0) / CELL_COUNT));
    exposureStops.push(stops);
    faultStops.push(fault);
  }
  return { frames, skyStops, exposureStops, faultStops };
}

/** RMS of the change from frame to frame of a series, the first `from` and last frames included. */
export function frameToFrameRms(series: readonly number[], from = 0, to = series.length): number {
  let sum = 0;
  for (let i = from + 1; i < to; i += 1) sum += (series[i]! - series[i - 1]!) ** 2;
  return Math.sqrt(sum / (to - from - 1));
}
