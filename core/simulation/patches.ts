import { createRandom, type Random } from "../random.ts";
import { AFTERGLOW_LAGS } from "./afterglow.ts";
import type { AuroraMoment } from "./auroraCourse.ts";
import type { Curtains } from "./curtains.ts";
import type { FieldLineMap } from "./fieldLineMap.ts";
import { addFootSpot } from "./footSpot.ts";
import { noiseAt, noiseLine } from "./noise.ts";

/** A patch that comes and goes: where, how large, how often. */
type Patch = {
  readonly xKm: number;
  readonly yKm: number;
  readonly radiusKm: number;
  /** Of its pulses on average; each comes a little early or late. */
  readonly periodSeconds: number;
  readonly turn: number;
  readonly lit: number;
  /** Offsets of the spots it is made of, in radii, with their size and strength. */
  readonly spots: readonly (readonly [x: number, y: number, size: number, strength: number])[];
};

/** The patches of a night and the course of their pulses. */
export type Patches = {
  readonly patches: readonly Patch[];
  readonly irregular: Float32Array;
};

/** Breadth of the field in which patches drift before they come round again, km. */
const PATCH_FIELD_KM = 1100;

/** Drift of patches along the arcs, km/s. Source: convection, common practice. */
const PATCH_KM_PER_S = 0.35;

/**
 * Mean periods of patches, seconds: mostly 6 to 10. With `LATE_TURNS` no two pulses come less than 2
 * or more than 20 s after each other.
 * Sources: quasi-periodic, 2 to 20 s (Frontiers in Astronomy 2025, 10.3389/fspas.2025.1561439), most
 * common 6 to 10 s (UAF Science Forum), erratic (Humberset et al. 2016).
 */
const PERIOD_SECONDS = { middle: 7.8, spread: 0.3, shortest: 2.6, longest: 15 } as const;

/** A mean period: log-normal about the middle, what falls outside drawn once more. */
function drawPeriodSeconds(random: Random): number {
  const { middle, spread, shortest, longest } = PERIOD_SECONDS;
  for (;;) {
    const period = middle * Math.exp(spread * random.normal());
    if (period >= shortest && period <= longest) return period;
  }
}

/** Patches for a seed. */
export function createPatches(seed: string): Patches {
  const random = createRandom(`${seed}/pulsation`);
  const patches = Array.from({ length: 90 }, (): Patch => {
    const slant = random.normal() * 0.4;
    return {
      xKm: PATCH_FIELD_KM * (random.uniform() - 0.5),
      yKm: 420 * random.uniform() - 130,
      radiusKm: 14 + 34 * random.uniform() ** 1.6,
      periodSeconds: drawPeriodSeconds(random),
      turn: random.uniform(),
      lit: 0.3 + 0.3 * random.uniform(),
      spots: Array.from({ length: 16 }, () => {
        const along = 2.6 * (random.uniform() - 0.5);
        const across = 0.75 * (random.uniform() - 0.5) + 0.5 * along * slant;
        return [along, across, 0.1 + 0.16 * random.uniform(), 0.2 + 0.8 * random.uniform() ** 2];
      }),
    };
  });
  return { patches, irregular: noiseLine(`${seed}/pulses`) };
}

/** How early or late a pulse comes, in periods, and over how many of them this changes. */
const LATE_TURNS = { most: 0.5, overPeriods: 3 } as const;

/** Share of a patch's light that never goes out. Source: a third, common practice, no source. */
const FLOOR_SHARE = 1 / 3;

/** Brightness of the prompt emission over its peak: on and off with soft edges, no pulse like the last. */
function prompt(patch: Patch, irregular: Float32Array, atSeconds: number): number {
  const { most, overPeriods } = LATE_TURNS;
  const { periodSeconds } = patch;
  const late = noiseAt(irregular, atSeconds / (overPeriods * periodSeconds) + patch.turn * 4000);
  const turn = atSeconds / periodSeconds + patch.turn + most * late;
  const part = turn - Math.floor(turn);
  const strength = noiseAt(irregular, Math.floor(turn) * 1.7 + patch.turn * 900);
  const edge = 0.08;
  const shape = Math.max(0, Math.min(1, part / edge, (patch.lit - part) / edge));
  return shape * (0.35 + 0.65 * strength);
}

/** Lifetime of O(1S), seconds: the green lags and leaves a tail. Source: Chamberlain 1961 (from memory). */
const GREEN_LIFETIME_SECONDS = 0.7;

/**
 * Brightness of a patch over its peak, 0..1, as the green line shows it. The violet that comes with
 * it is prompt, but a sixth of it; it is drawn with the same tail.
 */
export function pulse(patch: Patch, irregular: Float32Array, atSeconds: number): number {
  let mean = 0;
  for (const lag of AFTERGLOW_LAGS) {
    const before = atSeconds - lag * GREEN_LIFETIME_SECONDS;
    mean += prompt(patch, irregular, before) / AFTERGLOW_LAGS.length;
  }
  return FLOOR_SHARE + (1 - FLOOR_SHARE) * mean;
}

/**
 * Adds the patches, averaged over an exposure, to the light of a map's footpoints, kR.
 *
 * @param fromSeconds  Of the night; with `seconds`, the exposure.
 */
export function addPatches(options: {
  readonly patches: Patches;
  readonly curtains: Curtains;
  readonly moment: AuroraMoment;
  readonly map: FieldLineMap;
  readonly feet: Float32Array;
  readonly fromSeconds: number;
  readonly seconds: number;
}): void {
  const { patches, curtains, moment, map, feet, fromSeconds, seconds } = options;
  if (moment.patchKr < 0.02) return;
  const { sinPole, cosPole } = curtains;
  const samples = Math.min(12, Math.max(1, Math.ceil(seconds / 0.5)));
  for (const patch of patches.patches) {
    let mean = 0;
    for (let index = 0; index < samples; index += 1) {
      const at = fromSeconds + (seconds * (index + 0.5)) / samples;
      mean += pulse(patch, patches.irregular, at) / samples;
    }
    const drifted = patch.xKm + PATCH_KM_PER_S * moment.atSeconds + PATCH_FIELD_KM / 2;
    const xKm =
      drifted - PATCH_FIELD_KM * Math.floor(drifted / PATCH_FIELD_KM) - PATCH_FIELD_KM / 2;
    // Patches fade at the ends of the field, where they come round.
    const fade = Math.min(1, (PATCH_FIELD_KM / 2 - Math.abs(xKm)) / 120);
    for (const [along, across, size, strength] of patch.spots) {
      const x = xKm + along * patch.radiusKm;
      const y = patch.yKm + across * patch.radiusKm;
      addFootSpot(
        map,
        feet,
        x * cosPole + y * sinPole,
        y * cosPole - x * sinPole,
        moment.patchKr * mean * strength * fade,
        Math.max(2.5, size * patch.radiusKm),
      );
    }
  }
}
