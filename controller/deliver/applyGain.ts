import { GAIN_SCALE, type FrameGain } from "../../core/frames/frameGain.ts";
import { createRandom } from "../../core/random.ts";

/** A prime, so that the noise does not line up with any picture's rows. */
const NOISE_LENGTH = 65_537;
const NOISE = makeNoise();

function makeNoise(): Uint8Array {
  const random = createRandom("dither");
  return Uint8Array.from({ length: NOISE_LENGTH }, () => random.integer(256));
}

/** Codes that are worked on at once: few enough to stay in the processor's cache. */
const CHUNK = 3 * 4096;

/**
 * A picture through a gain to 8 bits, dithered: without it, a gain of a hundredth of a stop would
 * move no code of a dark sky at all, and others by a whole step.
 */
export function applyGain8(codes: Uint8Array, gain: FrameGain, seed: number): Uint8Array {
  const result = new Uint8Array(codes.length);
  const wide = new Uint16Array(CHUNK);
  let n = (seed * 7919) % NOISE_LENGTH;
  for (let start = 0; start < codes.length; start += CHUNK) {
    const chunk = codes.subarray(start, start + CHUNK);
    gainInto(chunk, gain, wide);
    for (let at = 0; at < chunk.length; at += 1) {
      result[start + at] = (wide[at]! + NOISE[n]!) >> 8;
      n += 1;
      if (n === NOISE_LENGTH) n = 0;
    }
  }
  return result;
}

/** The same to 16 bits, where nothing needs dithering. */
export function applyGain16(codes: Uint8Array, gain: FrameGain): Uint16Array {
  const result = new Uint16Array(codes.length);
  gainInto(codes, gain, result);
  const scale = 65_535 / (255 * GAIN_SCALE);
  for (let at = 0; at < result.length; at += 1) result[at] = Math.round(result[at]! * scale);
  return result;
}

/** The same to 8 bits without dithering, for a picture's column. */
export function applyGainPlain(codes: Uint8Array, gain: FrameGain): Uint8Array {
  const wide = new Uint16Array(codes.length);
  gainInto(codes, gain, wide);
  return Uint8Array.from(wide, (value) => (value + GAIN_SCALE / 2) >> 8);
}

/** Codes times 256 of whole pixels. Nearly all of them need the table alone. */
function gainInto(
  codes: Uint8Array,
  { table, plainBelow, pixel }: FrameGain,
  into: Uint16Array,
): void {
  const bright = new Uint16Array(3);
  for (let at = 0; at < codes.length; at += 3) {
    const red = codes[at]!;
    const green = codes[at + 1]!;
    const blue = codes[at + 2]!;
    if (red < plainBelow && green < plainBelow && blue < plainBelow) {
      into[at] = table[red]!;
      into[at + 1] = table[green]!;
      into[at + 2] = table[blue]!;
    } else {
      pixel(red, green, blue, bright);
      into[at] = bright[0]!;
      into[at + 1] = bright[1]!;
      into[at + 2] = bright[2]!;
    }
  }
}
