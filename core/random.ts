/**
 * A seeded stream of random numbers.
 *
 * `fork` gives a consumer a stream of its own, so that a new draw in one place does not disturb
 * another; it depends on the seed and the name alone, not on how much has been drawn.
 */
export type Random = {
  /** Uniform in [0, 1). */
  uniform(): number;
  /** Gaussian, mean 0, standard deviation 1. */
  normal(): number;
  /** Poisson count with the given mean; by the Gaussian limit above a mean of 60. */
  poisson(mean: number): number;
  /** Integer in [0, below). */
  integer(below: number): number;
  fork(name: string): Random;
};

/**
 * A generator from a seed: same seed, same numbers, on every machine.
 * Source: sfc32 (Chris Doty-Humphrey, PractRand), seeded through FNV-1a and splitmix32; from
 * memory, checked only by the statistical tests beside it. Gaussian by Box and Muller 1958.
 */
export function createRandom(seed: number | string): Random {
  const text = String(seed);
  let hash = 0x811c9dc5;
  for (let index = 0; index < text.length; index += 1) {
    hash = Math.imul(hash ^ text.charCodeAt(index), 0x01000193);
  }
  let mix = hash >>> 0;
  const splitmix = (): number => {
    mix = (mix + 0x9e3779b9) | 0;
    let z = mix ^ (mix >>> 16);
    z = Math.imul(z, 0x21f0aaad);
    z ^= z >>> 15;
    z = Math.imul(z, 0x735a2d97);
    return (z ^ (z >>> 15)) | 0;
  };
  let a = splitmix();
  let b = splitmix();
  let c = splitmix();
  let counter = 1;
  let spare: number | null = null;

  const uint32 = (): number => {
    const t = (((a + b) | 0) + counter) | 0;
    counter = (counter + 1) | 0;
    a = b ^ (b >>> 9);
    b = (c + (c << 3)) | 0;
    c = ((c << 21) | (c >>> 11)) + t;
    c |= 0;
    return t >>> 0;
  };
  for (let warm = 0; warm < 12; warm += 1) uint32();

  const uniform = (): number => uint32() / 4294967296;
  const normal = (): number => {
    if (spare !== null) {
      const value = spare;
      spare = null;
      return value;
    }
    const radius = Math.sqrt(-2 * Math.log(1 - uniform()));
    const angle = 2 * Math.PI * uniform();
    spare = radius * Math.sin(angle);
    return radius * Math.cos(angle);
  };
  const poisson = (mean: number): number => {
    if (mean <= 0) return 0;
    if (mean > 60) return Math.max(0, Math.round(mean + Math.sqrt(mean) * normal()));
    const limit = Math.exp(-mean);
    let count = -1;
    for (let product = 1; product > limit; product *= uniform()) count += 1;
    return count;
  };
  return {
    uniform,
    normal,
    poisson,
    integer: (below) => Math.floor(uniform() * below),
    fork: (name) => createRandom(`${text}/${name}`),
  };
}
