import type { Random } from "../../core/random.ts";
import { createRandom } from "../../core/random.ts";
import { skyFromColumns, type RehearsalSky } from "../../core/rehearsal/givenSky.ts";

/** The kinds of night that the governor is measured on. */
export const SKY_KINDS = [
  "twilight",
  "moonrise",
  "breakup",
  "doubleBreakup",
  "pulsatingFast",
  "pulsating",
  "pulsatingSlow",
  "storm",
  "cloud",
  "quiet",
  "step",
] as const;

/** One of `SKY_KINDS`. */
export type SkyKind = (typeof SKY_KINDS)[number];

/** Luminance of 1 kR of 557.7 nm. Source: photopic efficiency 683 · 0.9986 lm/W, Hunten 1956. */
const CD_M2_PER_KR = 1.933e-4;

/** Natural dark sky, mag/arcsec²: 21.2 (airglow at solar maximum) to 22. Source: Patat 2003. */
const DARK_MAGNITUDES = { low: 21.2, high: 22 };

const luminanceOfMagnitude = (magnitude: number): number => 10.8e4 * 10 ** (-0.4 * magnitude);

/** A value from low to high. */
function between(random: Random, low: number, high: number): number {
  return low + (high - low) * random.uniform();
}

/** A value from low to high, evenly spread over its logarithm. */
function betweenByRatio(random: Random, low: number, high: number): number {
  return low * (high / low) ** random.uniform();
}

/** One moment of a sky. */
type Moment = {
  readonly luminanceCdM2: number;
  readonly peakRatio: number;
  readonly driftDegPerSecond: number;
};

/** A sky as a function of time; called with rising seconds, so that it may carry memory. */
type SkyFunction = (atSeconds: number) => Moment;

/**
 * A sky of a kind from a seed: same seed, same sky. Every seed draws its own brightnesses, rates
 * and times from the published ranges named beside them in this file.
 *
 * @param hours  How long it lasts, > 0.
 */
export function makeSky(kind: SkyKind, seed: number | string, hours = 2): RehearsalSky {
  const random = createRandom(`${kind}/${seed}`);
  const durationSeconds = hours * 3600;
  const isFast = kind.startsWith("pulsating");
  return sample(SKY_MAKERS[kind](random, durationSeconds), {
    durationSeconds,
    stepSeconds: isFast ? 0.25 : 0.5,
  });
}

function sample(
  sky: SkyFunction,
  { durationSeconds, stepSeconds }: { durationSeconds: number; stepSeconds: number },
): RehearsalSky {
  const count = Math.floor(durationSeconds / stepSeconds) + 1;
  const seconds = new Float64Array(count);
  const luminanceCdM2 = new Float64Array(count);
  const peakRatio = new Float64Array(count);
  const driftDegPerSecond = new Float64Array(count);
  for (let index = 0; index < count; index += 1) {
    seconds[index] = index * stepSeconds;
    const moment = sky(index * stepSeconds);
    luminanceCdM2[index] = moment.luminanceCdM2;
    peakRatio[index] = Math.max(1, moment.peakRatio);
    driftDegPerSecond[index] = Math.max(0, moment.driftDegPerSecond);
  }
  return skyFromColumns({ seconds, luminanceCdM2, peakRatio, driftDegPerSecond });
}

const SKY_MAKERS: Readonly<
  Record<SkyKind, (random: Random, durationSeconds: number) => SkyFunction>
> = {
  twilight: twilightSky,
  moonrise: moonriseSky,
  breakup: (random, duration) =>
    substormSky(random, [between(random, 0.35, 0.55) * duration], { peakKr: [60, 400] }),
  doubleBreakup: (random, duration) =>
    substormSky(
      random,
      [between(random, 0.15, 0.25) * duration, between(random, 0.5, 0.7) * duration],
      { peakKr: [40, 500] },
    ),
  pulsatingFast: (random) => pulsatingSky(random, { low: 2, high: 5 }),
  pulsating: (random) => pulsatingSky(random, { low: 6, high: 10 }),
  pulsatingSlow: (random) => pulsatingSky(random, { low: 11, high: 20 }),
  storm: stormSky,
  cloud: cloudSky,
  quiet: quietSky,
  step: stepSky,
};

/** An Ornstein and Uhlenbeck process, standard deviation 1; a call moves it on. */
function wander(random: Random, timeSeconds: number): (atSeconds: number) => number {
  let value = random.normal();
  let before: number | null = null;
  return (at) => {
    if (before !== null) {
      const keep = Math.exp(-(at - before) / timeSeconds);
      value = keep * value + Math.sqrt(1 - keep * keep) * random.normal();
    }
    before = at;
    return value;
  };
}

/** The same with a smooth path: two in a row. */
function smoothWander(random: Random, timeSeconds: number): (atSeconds: number) => number {
  const rough = wander(random, timeSeconds);
  let value = 0;
  let before: number | null = null;
  return (at) => {
    const target = rough(at);
    const keep = before === null ? 1 : Math.exp(-(at - before) / timeSeconds);
    value = keep * value + (1 - keep) * target;
    before = at;
    return value * Math.SQRT2;
  };
}

/**
 * Zenith brightness in twilight. Source: Patat, Ugolnikov & Postylyakov 2006, Table 1 (V), valid
 * for a Sun 5° to 15° below the horizon; beyond that it fades into the natural sky.
 */
function twilightMagnitude(sunAltitudeDeg: number): number {
  const x = Math.min(10, Math.max(0, -sunAltitudeDeg - 5));
  return 11.84 + 1.518 * x - 0.057 * x * x;
}

/** Sun sinking or rising at 3°/h (summer, high latitude) to 12°/h (middle latitudes). */
function twilightSky(random: Random, durationSeconds: number): SkyFunction {
  const degPerHour = between(random, 3, 12);
  const isDawn = random.uniform() < 0.5;
  const seaLevel = 1.3;
  const spanDeg = (degPerHour * durationSeconds) / 3600;
  const highest = between(random, -6.5, -5);
  const ripple = smoothWander(random, 600);
  const peak = between(random, 1.3, 2);
  return (at) => {
    const gone = (spanDeg * (isDawn ? durationSeconds - at : at)) / durationSeconds;
    const magnitude = twilightMagnitude(highest - gone);
    const luminance = seaLevel * luminanceOfMagnitude(magnitude) * 2 ** (0.01 * ripple(at));
    return { luminanceCdM2: luminance, peakRatio: peak, driftDegPerSecond: 0 };
  };
}

/**
 * The Moon rising behind a quiet arc. Moonlit sky up to 4e-3 cd/m² for a full Moon (Krisciunas &
 * Schaefer 1991); quiet arcs of 1 to 20 kR drift at about 0.1 km/s (Safargaleev et al. 2003).
 */
function moonriseSky(random: Random, durationSeconds: number): SkyFunction {
  const dark = luminanceOfMagnitude(between(random, DARK_MAGNITUDES.low, DARK_MAGNITUDES.high));
  const moonlight = betweenByRatio(random, 8e-4, 4e-3);
  const riseAt = between(random, 0.1, 0.4) * durationSeconds;
  const riseSeconds = between(random, 2400, 6000);
  const arcKr = betweenByRatio(random, 1, 20);
  const slow = smoothWander(random, between(random, 400, 1200));
  const drift = between(random, 0.01, 0.05);
  return (at) => {
    const climbed = Math.max(0, at - riseAt) / riseSeconds;
    const moon = moonlight * (1 - Math.exp(-climbed * climbed - 0.3 * climbed));
    const arc = arcKr * CD_M2_PER_KR * 2 ** (0.25 * slow(at));
    return {
      luminanceCdM2: dark + moon + arc,
      peakRatio: 1 + (3 * arc) / (dark + moon + arc),
      driftDegPerSecond: drift,
    };
  };
}

type Substorm = {
  readonly onsetSeconds: number;
  readonly peakKr: number;
  /** Exponential growth after the onset, 1/s. */
  readonly growthPerSecond: number;
  readonly expansionSeconds: number;
  readonly recoverySeconds: number;
};

/**
 * Growth phase of 1-2 h, onset growing exponentially at about 0.05/s (Kalmoni et al. 2015, 2017;
 * 0.02 to 0.1 drawn), expansion of 10-30 min, recovery of 30 min to 2 h (Akasofu 1964, 2017).
 */
function drawSubstorm(
  random: Random,
  onsetSeconds: number,
  peakKr: readonly [number, number],
): Substorm {
  return {
    onsetSeconds,
    peakKr: betweenByRatio(random, ...peakKr),
    growthPerSecond: betweenByRatio(random, 0.02, 0.1),
    expansionSeconds: between(random, 400, 1500),
    recoverySeconds: between(random, 900, 2400),
  };
}

/** Intensity of a substorm before its flicker, kR. */
function substormKr(storm: Substorm, atSeconds: number, quietKr: number): number {
  const since = atSeconds - storm.onsetSeconds;
  if (since < 0) return 0;
  const grown = quietKr * (Math.exp(Math.min(40, storm.growthPerSecond * since)) - 1);
  const envelope =
    since < storm.expansionSeconds
      ? storm.peakKr
      : storm.peakKr * Math.exp(-(since - storm.expansionSeconds) / storm.recoverySeconds);
  return (grown * envelope) / (grown + envelope);
}

function substormSky(
  random: Random,
  onsets: readonly number[],
  ranges: { readonly peakKr: readonly [number, number] },
): SkyFunction {
  const dark = luminanceOfMagnitude(between(random, DARK_MAGNITUDES.low, DARK_MAGNITUDES.high));
  const storms = onsets.map((onset) => drawSubstorm(random, onset, ranges.peakKr));
  const quietKr = betweenByRatio(random, 1, 8);
  const growthPhase = between(random, 0.5, 1.5) / 3600;
  const slow = smoothWander(random, 600);
  const folds = smoothWander(random, between(random, 4, 12));
  const flicker = wander(random, between(random, 8, 40));
  const foldStops = between(random, 0.2, 0.5);
  const flickerStops = between(random, 0.1, 0.35);
  return (at) => {
    const growing = quietKr * Math.exp(Math.min(1.5, growthPhase * at)) * 2 ** (0.15 * slow(at));
    const burst = storms.reduce((sum, storm) => sum + substormKr(storm, at, quietKr), 0);
    const activity = burst / (burst + 3 * quietKr);
    const unrest = activity * (foldStops * folds(at) + flickerStops * flicker(at));
    const aurora = (growing + burst) * CD_M2_PER_KR * 2 ** unrest;
    return {
      luminanceCdM2: dark + aurora,
      peakRatio: 1.5 + 5 * activity,
      driftDegPerSecond: 0.03 + 0.5 * activity,
    };
  };
}

/**
 * Patches of a few kR that pulse erratically, each with its own period: 2 to 20 s (Frontiers
 * 2025), most often 6 to 10 s, fluctuating rather than regular (Humberset et al. 2016).
 */
function pulsatingSky(
  random: Random,
  periodSeconds: { readonly low: number; readonly high: number },
): SkyFunction {
  const dark = luminanceOfMagnitude(between(random, DARK_MAGNITUDES.low, DARK_MAGNITUDES.high));
  const diffuseKr = betweenByRatio(random, 0.5, 4);
  const count = 1 + random.integer(6);
  const patches = Array.from({ length: count }, () =>
    pulse(random.fork(String(random.uniform())), {
      periodSeconds: between(random, periodSeconds.low, periodSeconds.high),
      kr: betweenByRatio(random, 2, 12) / Math.sqrt(count),
    }),
  );
  const slow = smoothWander(random, between(random, 200, 900));
  const drift = between(random, 0.02, 0.3);
  return (at) => {
    const pulsing = patches.reduce((sum, patch) => sum + patch(at), 0);
    const aurora = (diffuseKr + pulsing) * CD_M2_PER_KR * 2 ** (0.2 * slow(at));
    return { luminanceCdM2: dark + aurora, peakRatio: 3, driftDegPerSecond: drift };
  };
}

/** One patch: on and off with soft flanks; length and height of every pulse differ by a third. */
function pulse(
  random: Random,
  { periodSeconds, kr }: { readonly periodSeconds: number; readonly kr: number },
): (atSeconds: number) => number {
  let start = -periodSeconds * random.uniform();
  let length = periodSeconds;
  let height = kr;
  return (at) => {
    while (at >= start + length) {
      start += length;
      length = periodSeconds * Math.max(0.3, 1 + 0.3 * random.normal());
      height = kr * Math.max(0.1, 1 + 0.35 * random.normal());
    }
    // A raised sine cubed: on for about half of the period.
    return height * ((1 - Math.cos((2 * Math.PI * (at - start)) / length)) / 2) ** 1.5;
  };
}

/**
 * Surge upon surge, to IBC IV (1000 kR at the brightest): each rises by the onset's exponential
 * growth in 20 to 60 s, stands for a minute or a few and decays over minutes.
 */
function stormSky(random: Random, durationSeconds: number): SkyFunction {
  const dark = luminanceOfMagnitude(between(random, DARK_MAGNITUDES.low, DARK_MAGNITUDES.high));
  const quietKr = betweenByRatio(random, 5, 30);
  const surges: Substorm[] = [];
  for (let at = between(random, 200, 900); at < durationSeconds; at += between(random, 400, 1500)) {
    surges.push({
      onsetSeconds: at,
      peakKr: betweenByRatio(random, 60, 1000),
      growthPerSecond: betweenByRatio(random, 0.03, 0.12),
      expansionSeconds: between(random, 60, 300),
      recoverySeconds: between(random, 60, 300),
    });
  }
  const folds = smoothWander(random, between(random, 3, 12));
  const flicker = wander(random, between(random, 10, 60));
  const foldStops = between(random, 0.1, 0.4);
  const flickerStops = between(random, 0.1, 0.3);
  return (at) => {
    const burst = surges.reduce((sum, surge) => sum + substormKr(surge, at, quietKr), 0);
    const activity = (burst + 0.3 * quietKr) / (burst + 3 * quietKr);
    const unrest = activity * (foldStops * folds(at) + flickerStops * flicker(at));
    return {
      luminanceCdM2: dark + (quietKr + burst) * CD_M2_PER_KR * 2 ** unrest,
      peakRatio: 2 + 5 * activity,
      driftDegPerSecond: 0.05 + 0.6 * activity,
    };
  };
}

/** Clouds that take or give light (street glow) by up to 1.5 stops, their edges 20 to 300 s wide. */
function cloudSky(random: Random, durationSeconds: number): SkyFunction {
  const dark = luminanceOfMagnitude(between(random, 20.5, DARK_MAGNITUDES.high));
  const arcKr = betweenByRatio(random, 1, 10);
  const slow = smoothWander(random, 500);
  const clouds = Array.from({ length: 2 + random.integer(5) }, () => ({
    middle: random.uniform() * durationSeconds,
    halfSeconds: between(random, 60, 900),
    edgeSeconds: betweenByRatio(random, 20, 300),
    stops: between(random, -1.5, 0.7),
  }));
  return (at) => {
    const cloudStops = clouds.reduce((sum, { middle, halfSeconds, edgeSeconds, stops }) => {
      const inside = (halfSeconds - Math.abs(at - middle)) / edgeSeconds;
      return sum + stops / (1 + Math.exp(-4 * inside));
    }, 0);
    const clear = dark + arcKr * CD_M2_PER_KR * 2 ** (0.15 * slow(at));
    return { luminanceCdM2: clear * 2 ** cloudStops, peakRatio: 2, driftDegPerSecond: 0.02 };
  };
}

/** Airglow that drifts by hundredths of a stop; nothing else. */
function quietSky(random: Random): SkyFunction {
  const dark = luminanceOfMagnitude(between(random, DARK_MAGNITUDES.low, DARK_MAGNITUDES.high));
  const slow = smoothWander(random, between(random, 1200, 3600));
  const stops = between(random, 0, 0.05);
  return (at) => ({
    luminanceCdM2: dark * 2 ** (stops * slow(at)),
    peakRatio: 1.5,
    driftDegPerSecond: 0,
  });
}

/** One step of three stops upwards on an otherwise quiet sky. */
function stepSky(random: Random, durationSeconds: number): SkyFunction {
  const low = luminanceOfMagnitude(between(random, 19.5, 21.5));
  const stepAt = between(random, 0.3, 0.7) * durationSeconds;
  return (at) => ({
    luminanceCdM2: at >= stepAt ? 8 * low : low,
    peakRatio: 2,
    driftDegPerSecond: 0,
  });
}
