import { GAIN_SCALE } from "../../core/frames/gainTable.ts";
import { createRandom } from "../../core/random.ts";

/** A prime, so that the noise does not line up with any picture's rows. */
const NOISE_LENGTH = 65_537;
const NOISE = makeNoise();

function makeNoise(): Uint8Array {
  const random = createRandom("dither");
  return Uint8Array.from({ length: NOISE_LENGTH }, () => random.integer(256));
}

/**
 * Codes through a gain table to 8 bits, dithered: without it, a gain of a hundredth of a stop would
 * move no code of a dark sky at all, and others by a whole step.
 */
export function applyGain8(codes: Uint8Array, table: Uint16Array, seed: number): Uint8Array {
  const result = new Uint8Array(codes.length);
  let n = (seed * 7919) % NOISE_LENGTH;
  for (let at = 0; at < codes.length; at += 1) {
    result[at] = (table[codes[at]!]! + NOISE[n]!) >> 8;
    n += 1;
    if (n === NOISE_LENGTH) n = 0;
  }
  return result;
}

/** The same to 16 bits, where nothing needs dithering. */
export function applyGain16(codes: Uint8Array, table: Uint16Array): Uint16Array {
  const wide = Uint16Array.from(table, (value) =>
    Math.round((value * 65_535) / (255 * GAIN_SCALE)),
  );
  const result = new Uint16Array(codes.length);
  for (let at = 0; at < codes.length; at += 1) result[at] = wide[codes[at]!]!;
  return result;
}
