import type { Random } from "../random.ts";
import { readSky, type RehearsalSky } from "./givenSky.ts";

/** A sky light meter on a serial line, as the rehearsal simulates it. */
export type LightMeterSimulation = {
  /** Samples a second, > 0. */
  readonly hz: number;
  /**
   * What goes wrong with it: takes the value that it would have given and returns the one that it
   * gives; null: no sample at all. Left out: nothing goes wrong.
   */
  readonly disturb?: (atSeconds: number, value: number) => number | null;
};

/** The next sample, one after the other. */
type LightMeterSource = {
  readonly nextMs: number;
  /** null: the meter gave nothing at this moment. */
  take(): { readonly atMs: number; readonly value: number } | null;
};

/** Noise of one sample: 2 % of its value and half a percent of a dark sky. Common practice. */
const RELATIVE_NOISE = 0.02;
const FLOOR_NOISE_CD_M2 = 1.25e-6;
/** Dark counts that were not quite taken off: within 2 % of a dark sky. */
const OFFSET_CD_M2 = 5e-6;

/**
 * A light meter looking at a sky: value = scale · (luminance + offset) with noise; scale and
 * offset are drawn, and nobody learns of it.
 */
export function simulateLightMeter(
  sky: RehearsalSky,
  { hz, disturb }: LightMeterSimulation,
  random: Random,
): LightMeterSource {
  const reader = readSky(sky);
  const scale = 10 ** (1 + 3 * random.uniform());
  const offset = OFFSET_CD_M2 * (2 * random.uniform() - 1);
  const startMs = sky.seconds[0]! * 1000;
  const endMs = sky.seconds.at(-1)! * 1000;
  let count = 0;
  const atMs = (): number => startMs + (count * 1000) / hz;
  return {
    get nextMs() {
      return atMs() > endMs ? Infinity : atMs();
    },
    take() {
      const at = atMs();
      count += 1;
      const luminance = reader.luminanceAt(at / 1000);
      const noise = Math.hypot(RELATIVE_NOISE * luminance, FLOOR_NOISE_CD_M2) * random.normal();
      const value = scale * (luminance + offset + noise);
      const given = disturb === undefined ? value : disturb(at / 1000, value);
      return given === null ? null : { atMs: at, value: given };
    },
  };
}
