import { createRandom } from "../random.ts";
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
 * Patches for a seed. Periods 2 to 20 s, mostly 6 to 10, erratic (Humberset et al. 2016).
 */
export function createPatches(seed: string): Patches {
  const random = createRandom(`${seed}/pulsation`);
  const patches = Array.from({ length: 90 }, (): Patch => {
    const slant = random.normal() * 0.4;
    return {
      xKm: PATCH_FIELD_KM * (random.uniform() - 0.5),
      yKm: 420 * random.uniform() - 130,
      radiusKm: 14 + 34 * random.uniform() ** 1.6,
      periodSeconds: 2 + 18 * random.uniform() * random.uniform() + 3 * random.uniform(),
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

/** Brightness of a patch over its peak: on and off with soft edges, each pulse unlike the last. */
function pulse(patch: Patch, irregular: Float32Array, atSeconds: number): number {
  const late = 0.8 * noiseAt(irregular, atSeconds / (3 * patch.periodSeconds) + patch.turn * 4000);
  const turn = atSeconds / patch.periodSeconds + patch.turn + late;
  const part = turn - Math.floor(turn);
  const strength = noiseAt(irregular, Math.floor(turn) * 1.7 + patch.turn * 900);
  const edge = 0.08;
  const shape = Math.max(0, Math.min(1, part / edge, (patch.lit - part) / edge));
  // The green line's own lifetime (0.7 s) leaves a tail; a third of the light never goes out.
  return 0.12 + 0.88 * shape * (0.35 + 0.65 * strength);
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
