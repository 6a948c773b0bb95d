import { createRandom } from "../random.ts";

/** Lattice points of a noise line; it repeats after this many. A power of two. */
export const NOISE_LINE_COUNT = 4096;

/** Even random values 0..1 on a line of lattice points. */
export function noiseLine(seed: string): Float32Array {
  const random = createRandom(seed);
  return Float32Array.from({ length: NOISE_LINE_COUNT }, () => random.uniform());
}

/** Smooth noise 0..1 at a place on a line; features are about one unit wide. */
export function noiseAt(line: Float32Array, at: number): number {
  const floor = Math.floor(at);
  const part = at - floor;
  const smooth = part * part * (3 - 2 * part);
  const a = line[floor & (NOISE_LINE_COUNT - 1)]!;
  const b = line[(floor + 1) & (NOISE_LINE_COUNT - 1)]!;
  return a + (b - a) * smooth;
}

/** Smooth noise 0..1 in the plane; features are about one unit wide, values repeat far away. */
function noiseOnPlane(line: Float32Array, x: number, y: number): number {
  const row = Math.floor(y);
  const part = y - row;
  const smooth = part * part * (3 - 2 * part);
  const lower = noiseAt(line, x + row * 131.37);
  return lower + (noiseAt(line, x + (row + 1) * 131.37) - lower) * smooth;
}

/** Noise of four octaves in the plane, 0..1 with a mean near 0.5; clouds are made of it. */
export function fractalNoise(line: Float32Array, x: number, y: number): number {
  let sum = 0;
  let weight = 0.5;
  let scale = 1;
  for (let octave = 0; octave < 4; octave += 1) {
    sum += weight * noiseOnPlane(line, x * scale + octave * 17.3, y * scale + octave * 9.1);
    weight *= 0.5;
    scale *= 2.07;
  }
  return sum / 0.9375;
}

/** Numbers of a grain table, a power of two. */
export const GRAIN_COUNT = 1 << 18;

/**
 * Gaussian numbers drawn once, mean 0 and standard deviation 1 exactly, from which a frame's grain
 * is read at random offsets: drawing millions again for every frame would take longer than the rest.
 */
export function grainTable(): Float32Array {
  const random = createRandom("grain");
  const table = Float32Array.from({ length: GRAIN_COUNT }, () => random.normal());
  let [sum, squares] = [0, 0];
  for (const value of table) {
    sum += value;
    squares += value * value;
  }
  const mean = sum / GRAIN_COUNT;
  const deviation = Math.sqrt(squares / GRAIN_COUNT - mean * mean);
  return table.map((value) => (value - mean) / deviation);
}
