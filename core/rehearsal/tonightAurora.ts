import type { Random } from "../random.ts";
import type { AuroraView } from "../sky/auroraView.ts";

/** How lively the sky is expected to be. */
export type TonightActivity = "quiet" | "moderate" | "storm";

/** One moment of a simulated sky's aurora. */
type AuroraMoment = {
  /** Mean of the aurora over the framed sky, in kilorayleigh of 557.7 nm. */
  readonly meanKr: number;
  /** Its brightest forms, kilorayleigh. */
  readonly peakKr: number;
  readonly driftDegPerSecond: number;
};

/** Luminance of 1 kR of 557.7 nm, cd/m². Source: Hunten et al. 1956 and 683 lm/W times V(λ) = 0.9986. */
export const CD_M2_PER_KR = 1.933e-4;

/** Figures of an activity; the Kp is the one whose oval decides how the aurora stands. */
type ActivityFigures = {
  readonly kp: number;
  readonly hoursBetweenSubstorms: number;
  readonly arcKr: readonly [number, number];
  readonly peakKr: readonly [number, number];
};

/**
 * Substorms recur in about 3 h (Borovsky, Nemzek and Belian 1993, J. Geophys. Res. 98:3807, from
 * memory), more often in storms; brightness by the international coefficients, I (1 kR) to IV
 * (1000 kR).
 */
const FIGURES: Readonly<Record<TonightActivity, ActivityFigures>> = {
  quiet: { kp: 1, hoursBetweenSubstorms: 8, arcKr: [0.3, 3], peakKr: [5, 40] },
  moderate: { kp: 3, hoursBetweenSubstorms: 3, arcKr: [1, 10], peakKr: [30, 300] },
  storm: { kp: 6, hoursBetweenSubstorms: 1.2, arcKr: [3, 30], peakKr: [100, 1000] },
};

/** The Kp that an activity is taken to mean. */
export function kpOf(activity: TonightActivity): number {
  return FIGURES[activity].kp;
}

/**
 * Share of the framed sky that bright forms fill when they are overhead: a quiet arc, and curtains
 * and patches after an onset. Common practice, no source.
 */
const ARC_FILL = 0.08;
const CURTAIN_FILL = 0.25;

/**
 * What of that is left for aurora standing like this: from far away it is a rim on the horizon.
 * Common practice, no source.
 */
const FRAME_SHARE: Readonly<Record<AuroraView["standing"], number>> = {
  overhead: 1,
  high: 0.5,
  low: 0.15,
  topsOnly: 0.03,
  belowHorizon: 0,
};

type Substorm = {
  readonly onsetSeconds: number;
  readonly peakKr: number;
  readonly growthPerSecond: number;
  readonly expansionSeconds: number;
  readonly recoverySeconds: number;
  readonly pulsePeriodSeconds: number;
};

/**
 * A night's aurora as a function of the seconds since its begin; same random stream, same aurora.
 *
 * Quiet arcs that drift and wander; substorms whose arc brightens over 1 to 2 h before the onset,
 * then grows exponentially (0.02 to 0.1 a second), expands for 10 to 30 min and recovers over 30
 * min to 2 h, with patches pulsating in 2 to 20 s.
 * Sources: Akasofu 1964, Planet. Space Sci. 12:273, and 2017, Space Sci. Rev. (phases); Kalmoni et
 * al. 2015, 2017 (exponential growth; its rate from memory); Safargaleev et al. 2003, Ann. Geophys.
 * 21:1793 (drift of arcs 0.1 km/s, of bright forms several km/s).
 */
export function tonightAurora(options: {
  readonly activity: TonightActivity;
  readonly standing: AuroraView["standing"];
  readonly durationSeconds: number;
  readonly random: Random;
}): (atSeconds: number) => AuroraMoment {
  const { activity, standing, durationSeconds, random } = options;
  const figures = FIGURES[activity];
  const share = FRAME_SHARE[standing];
  const substorms = substormsOf(figures, durationSeconds, random.fork("substorms"));
  const arcKr = byRatio(random, figures.arcKr);
  const waves = wavesOf(random.fork("arc"));
  const pulsePhase = random.uniform() * 2 * Math.PI;
  return (at) => {
    const arc = arcKr * 2 ** (1.2 * waves(at));
    const storm = substorms.reduce((sum, substorm) => sum + substormKr(substorm, at), 0);
    const pulses = pulsationKr(substorms, at, pulsePhase);
    const liveliness = storm / (storm + arc + pulses);
    return {
      meanKr: share * (ARC_FILL * arc + CURTAIN_FILL * (storm + pulses)),
      peakKr: share === 0 ? 0 : arc + 1.5 * storm + pulses,
      // Seen from 200 km: 0.1 km/s is 0.03 °/s, the 0.7 km/s of a bright expansion 0.2 °/s.
      driftDegPerSecond: share === 0 ? 0 : 0.03 + 0.17 * liveliness * (storm / (storm + 20)),
    };
  };
}

function substormsOf(
  figures: ActivityFigures,
  durationSeconds: number,
  random: Random,
): readonly Substorm[] {
  const substorms: Substorm[] = [];
  // Begun two hours before the watch, so that its first hour may lie in a recovery.
  let at = -7200;
  for (;;) {
    const draw = -Math.log(1 - random.uniform());
    at += Math.max(1500, figures.hoursBetweenSubstorms * 3600 * draw);
    if (at > durationSeconds + 3600) return substorms;
    substorms.push({
      onsetSeconds: at,
      peakKr: byRatio(random, figures.peakKr),
      growthPerSecond: between(random, 0.02, 0.1),
      expansionSeconds: between(random, 600, 1800),
      recoverySeconds: between(random, 1800, 7200),
      pulsePeriodSeconds: between(random, 2, 20),
    });
  }
}

function substormKr(substorm: Substorm, at: number): number {
  const { onsetSeconds, peakKr, growthPerSecond, expansionSeconds, recoverySeconds } = substorm;
  const since = at - onsetSeconds;
  if (since < 0) return 0.02 * peakKr * Math.exp(since / 2400);
  if (since < expansionSeconds) {
    // Logistic: exponential at first, level at the peak.
    const grown = Math.exp(-growthPerSecond * since);
    const pulse = 1 + 0.35 * Math.sin(since / 23) * Math.sin(since / 61);
    return (peakKr * pulse) / (1 + 49 * grown);
  }
  return peakKr * Math.exp(-(since - expansionSeconds) / (recoverySeconds / 3));
}

/** Patches of a few kilorayleigh blinking during the recovery. */
function pulsationKr(substorms: readonly Substorm[], at: number, phase: number): number {
  let sum = 0;
  for (const { onsetSeconds, expansionSeconds, recoverySeconds, pulsePeriodSeconds } of substorms) {
    const since = at - onsetSeconds - expansionSeconds;
    if (since < 0 || since > 2 * recoverySeconds) continue;
    const blink = 0.5 + 0.5 * Math.sin((2 * Math.PI * since) / pulsePeriodSeconds + phase);
    sum += 3 * Math.exp(-since / recoverySeconds) * blink;
  }
  return sum;
}

/** A smooth wandering, about −1..1, of a few incommensurable periods from three minutes to an hour. */
function wavesOf(random: Random): (atSeconds: number) => number {
  const waves = [180, 410, 960, 2300, 3700].map((period) => ({
    rate: (2 * Math.PI) / (period * between(random, 0.8, 1.25)),
    phase: 2 * Math.PI * random.uniform(),
  }));
  return (at) =>
    waves.reduce((sum, { rate, phase }) => sum + Math.sin(rate * at + phase), 0) / waves.length;
}

function between(random: Random, low: number, high: number): number {
  return low + (high - low) * random.uniform();
}

function byRatio(random: Random, [low, high]: readonly [number, number]): number {
  return low * (high / low) ** random.uniform();
}
