import { allocate, secondsIsoFor } from "../../core/exposure/allocation.ts";
import { curtainSecondsOf } from "../../core/exposure/limits.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import { levelOf, type FrameObservation } from "../../core/exposure/observation.ts";
import type { ExposureSettings } from "../../core/exposure/settings.ts";
import type { Random } from "../../core/random.ts";
import { judgeFrame, type RehearsalFrame } from "../../core/rehearsal/score.ts";
import { type SkyReader, type RehearsalSky, readSky } from "../../core/rehearsal/givenSky.ts";
import { monotonicMs } from "../../core/units.ts";
import { type RehearsalTiming, motionOf } from "../../core/rehearsal/timing.ts";

/** A rule that chooses exposures from what was there when the shutter opened. */
export type ExposureRule = {
  /** A reading has come, with what the frame truly was. */
  observe(observation: FrameObservation, trueLevel: number): void;
  choose(openSeconds: number, frameIndex: number): Exposure;
};

/** What a rule is made from; only the oracle may look at the sky. */
export type RuleContext = {
  readonly sky: SkyReader;
  readonly settings: ExposureSettings;
  readonly random: Random;
  readonly first: Exposure;
};

/** Runs a sky under a rule; the plain loop that the governor's rivals are measured with. */
export function rehearseRule(
  sky: RehearsalSky,
  rule: ExposureRule,
  options: {
    readonly settings: ExposureSettings;
    readonly timing: RehearsalTiming;
    readonly random: Random;
  },
): RehearsalFrame[] {
  const { settings, timing, random } = options;
  const reader = readSky(sky);
  const endSeconds = sky.seconds.at(-1)!;
  const frames: RehearsalFrame[] = [];
  const due: { atSeconds: number; observation: FrameObservation; trueLevel: number }[] = [];
  const noise = random.fork("meter");
  let openSeconds = sky.seconds[0]!;
  for (let index = 0; ; index += 1) {
    while (due.length > 0 && due[0]!.atSeconds <= openSeconds) {
      const { observation, trueLevel } = due.shift()!;
      rule.observe(observation, trueLevel);
    }
    const exposure = rule.choose(openSeconds, index);
    const closeSeconds = openSeconds + exposure.exposureSeconds;
    if (closeSeconds > endSeconds) return frames;
    const window = reader.window(openSeconds, closeSeconds);
    const judged = judgeFrame(window, exposure, settings);
    const skyStops =
      settings.targetStops + judged.errorStops + timing.meterNoiseStops * noise.normal();
    due.push({
      atSeconds: closeSeconds + timing.readingDelaySeconds,
      observation: {
        frameIndex: index,
        openedMs: monotonicMs(openSeconds * 1000),
        exposure,
        skyStops,
        uncertaintyStops: timing.meterNoiseStops,
        peakRatio: window.peakRatio,
        clippedShare: judged.isClipped ? 0.005 : 0,
        motion: motionOf(window.driftDegPerSecond, settings),
      },
      trueLevel: Math.log2(window.meanCdM2),
    });
    frames.push({
      index,
      startSeconds: openSeconds,
      exposure,
      meteredStops: skyStops - settings.targetStops,
      ...judged,
      reasons: [],
    });
    const readySeconds = closeSeconds + timing.busySeconds;
    // Without an interval, frames go back to back.
    openSeconds = Math.max(readySeconds, openSeconds + settings.intervalSeconds);
  }
}

/** Exposes for the true mean of the newest frame whose reading was there, with 0.02 stop of noise. */
export function persistenceRule({ settings, random, first }: RuleContext): ExposureRule {
  const noise = random.fork("persistence");
  let heldIso: number | null = null;
  let newest: { observation: FrameObservation; level: number } | null = null;
  return {
    observe: (observation, trueLevel) => {
      newest = { observation, level: trueLevel + 0.02 * noise.normal() };
    },
    choose: () => {
      if (newest === null) return first;
      const secondsIso = secondsIsoFor(newest.level, settings.targetStops, settings);
      const curtainSeconds = curtainSecondsOf(newest.observation.motion, settings);
      const split = allocate(secondsIso, { curtainSeconds, heldIso }, settings);
      heldIso = split.iso;
      return { exposureSeconds: split.exposureSeconds, iso: split.iso, fNumber: settings.fNumber };
    },
  };
}

/** Moves by at most a third of a stop a frame towards the target, as a plain controller does. */
export function stepperRule({ settings, first }: RuleContext): ExposureRule {
  let secondsIso = first.exposureSeconds * first.iso;
  let heldIso: number | null = null;
  let newest: FrameObservation | null = null;
  return {
    observe: (observation) => {
      newest = observation;
    },
    choose: () => {
      if (newest !== null) {
        const wanted = secondsIsoFor(levelOf(newest), settings.targetStops, settings);
        const off = Math.log2(wanted / secondsIso);
        if (Math.abs(off) > 1 / 6) secondsIso *= 2 ** (Math.sign(off) / 3);
      }
      const curtainSeconds = newest ? curtainSecondsOf(newest.motion, settings) : Infinity;
      const split = allocate(secondsIso, { curtainSeconds, heldIso }, settings);
      heldIso = split.iso;
      secondsIso = split.exposureSeconds * split.iso;
      return { exposureSeconds: split.exposureSeconds, iso: split.iso, fNumber: settings.fNumber };
    },
  };
}

/** Knows what the sky will do during the coming exposure; only the limits keep it from the target. */
export function oracleRule({ sky, settings, first }: RuleContext): ExposureRule {
  let heldIso: number | null = null;
  let seconds = first.exposureSeconds;
  return {
    observe: () => undefined,
    choose: (openSeconds) => {
      let split = { exposureSeconds: seconds, iso: first.iso };
      for (let round = 0; round < 60; round += 1) {
        const window = sky.window(openSeconds, openSeconds + seconds);
        const curtainSeconds = curtainSecondsOf(
          motionOf(window.driftDegPerSecond, settings),
          settings,
        );
        const level = Math.log2(window.meanCdM2);
        const secondsIso = secondsIsoFor(level, settings.targetStops, settings);
        split = allocate(secondsIso, { curtainSeconds, heldIso: heldIso ?? split.iso }, settings);
        if (Math.abs(split.exposureSeconds / seconds - 1) < 1e-4) break;
        // Half steps: the mean depends on the length it is taken over.
        seconds = Math.sqrt(seconds * split.exposureSeconds);
      }
      heldIso = split.iso;
      seconds = split.exposureSeconds;
      return { exposureSeconds: split.exposureSeconds, iso: split.iso, fNumber: settings.fNumber };
    },
  };
}
