import type { Traits } from "./switches.ts";
import type { Width } from "./codes.ts";

// Speeds and ISO as a camera's wheel has them. Source of the conventional rungs: common practice.

const SHORTEST_SECONDS = 1 / 4000;
const LONGEST_SECONDS = 30;
const ISO_MIN = 100;
const ISO_MAX = 12_800;
/** Rungs that no wheel has: out of order, twice, nothing at all, and a day. */
const NONSENSE_SECONDS = [1, 0.5, 0.5, 8, 2, 0, 4, 86_400, 1 / 60, 15];
const NONSENSE_ISO = [800, 400, 400, 0, 3200, 100, 1600, 6400];

/** How a number stands on the wire. */
export type Codec = {
  readonly encode: (value: number) => bigint;
  readonly decode: (wire: bigint) => number;
};

export function exposureCodec(unit: Traits["exposureUnit"]): Codec {
  if (unit.kind === "fraction") {
    return {
      encode: (seconds) =>
        seconds >= 1
          ? (BigInt(Math.round(seconds * 10)) << 16n) | 10n
          : (1n << 16n) | BigInt(Math.round(1 / Math.max(seconds, 1e-4))),
      decode: (wire) => Number(wire >> 16n) / Math.max(1, Number(wire & 0xffffn)),
    };
  }
  return {
    encode: (seconds) => BigInt(Math.round(seconds * unit.perSecond)),
    decode: (wire) => Number(wire) / unit.perSecond,
  };
}

export const isoCodec: Codec = {
  encode: (iso) => BigInt(Math.round(iso)),
  decode: (wire) => Number(wire),
};

/**
 * Eighths of a stop, one code a rung: exposure time 0x38 at 1 s falling, ISO 0x48 at 100 rising,
 * aperture 0x08 at f/1 rising. From memory, not tried on hardware.
 */
export const EIGHTHS = {
  seconds: {
    encode: (seconds) => BigInt(eighth(0x38 - 8 * Math.log2(seconds))),
    decode: (wire) => 2 ** ((0x38 - Number(wire)) / 8),
  },
  iso: {
    encode: (iso) => BigInt(eighth(0x48 + 8 * Math.log2(iso / 100))),
    decode: (wire) => 100 * 2 ** ((Number(wire) - 0x48) / 8),
  },
  fNumber: {
    encode: (fNumber) => BigInt(eighth(0x08 + 16 * Math.log2(fNumber))),
    decode: (wire) => 2 ** ((Number(wire) - 0x08) / 16),
  },
} as const satisfies Record<string, Codec>;

/** The nearest code that stands for a full, third or half stop. */
function eighth(value: number): number {
  const whole = Math.floor(value / 8) * 8;
  const steps = [0, 3, 4, 5, 8];
  const rest = value - whole;
  return (
    whole + steps.reduce((best, s) => (Math.abs(s - rest) < Math.abs(best - rest) ? s : best), 0)
  );
}

/** What of a ladder an unsigned field of this width can hold, each value once unless nonsense. */
export function wireLadder(
  values: readonly number[],
  codec: Codec,
  width: Width,
  keepsDoubles: boolean,
): readonly bigint[] {
  const wire = values.map(codec.encode).filter((value) => value < 1n << BigInt(width));
  return keepsDoubles ? wire : [...new Set(wire)];
}

export function secondsLadder(rungsPerStop: number): readonly number[] {
  if (rungsPerStop === 0) return NONSENSE_SECONDS;
  const count = Math.round(Math.log2(LONGEST_SECONDS / SHORTEST_SECONDS) * rungsPerStop);
  return Array.from({ length: count + 1 }, (_, rung) =>
    shown(SHORTEST_SECONDS * 2 ** (rung / rungsPerStop)),
  );
}

export function isoLadder(rungsPerStop: number): readonly number[] {
  if (rungsPerStop === 0) return NONSENSE_ISO;
  const count = Math.round(Math.log2(ISO_MAX / ISO_MIN) * rungsPerStop);
  return Array.from(
    { length: count + 1 },
    (_, rung) => Math.round((ISO_MIN * 2 ** (rung / rungsPerStop)) / 5) * 5,
  );
}

/** To a tenth of a millisecond, so that every unit holds the same speeds. */
function shown(seconds: number): number {
  return Math.round(seconds * 10_000) / 10_000 || SHORTEST_SECONDS;
}
