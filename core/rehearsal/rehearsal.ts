import { allocate, secondsIsoFor } from "../exposure/allocation.ts";
import type { Exposure } from "../exposure/exposure.ts";
import { clipSky } from "../exposure/highlights.ts";
import { curtainSecondsOf } from "../exposure/limits.ts";
import type { ExposureSettings } from "../exposure/settings.ts";
import type { WatchEffect } from "../watch/effects.ts";
import type { WatchEvent } from "../watch/events.ts";
import { idleWatch } from "../watch/idleWatch.ts";
import { reduceWatch } from "../watch/reduce.ts";
import type { WatchState } from "../watch/state.ts";
import { DEFAULT_WATCH_SETTINGS } from "../watch/watchSettings.ts";
import type { Reading } from "../photometry/reading.ts";
import { createRandom, type Random } from "../random.ts";
import { monotonicMs } from "../units.ts";
import { simulateLightMeter, type LightMeterSimulation } from "./lightMeterSimulation.ts";
import { motionOf, type RehearsalTiming } from "./timing.ts";
import { judgeFrame, type RehearsalFrame } from "./score.ts";
import { readSky, type RehearsalSky, type SkyReader, type SkyWindow } from "./givenSky.ts";

/** How a night is rehearsed. */
export type RehearsalOptions = {
  readonly settings: ExposureSettings;
  readonly timing: RehearsalTiming;
  readonly seed: number | string;
  /** Exposure of the first frame; null: the governor's own guess. */
  readonly first: Exposure | null;
  /** A sky light meter; null: none. */
  readonly lightMeter: LightMeterSimulation | null;
};

/** The default cadence and meter of a rehearsal. */
export const DEFAULT_REHEARSAL_TIMING: RehearsalTiming = {
  busySeconds: 1,
  readingDelaySeconds: 0.8,
  meterNoiseStops: 0.02,
};

/**
 * What a photographer's test frame of the sky's first moment would set for the first frame: the
 * meter's word, noise included, split into time and ISO.
 */
export function testFrameExposure(
  sky: RehearsalSky,
  { settings, timing, seed }: Pick<RehearsalOptions, "settings" | "timing" | "seed">,
): Exposure {
  const noise = createRandom(seed).fork("test frame").normal();
  const level = Math.log2(sky.luminanceCdM2[0]!) + timing.meterNoiseStops * noise;
  const drift = motionOf(sky.driftDegPerSecond[0]!, settings);
  const { exposureSeconds, iso } = allocate(
    secondsIsoFor(level, settings.targetStops, settings),
    { curtainSeconds: curtainSecondsOf(drift, settings), heldIso: null },
    settings,
  );
  return { exposureSeconds, iso, fNumber: settings.fNumber };
}

type Scheduled = { readonly atMs: number; readonly event: WatchEvent };

/** What the simulated camera and meter carry along; changed in place, never handed out. */
type Bench = {
  state: WatchState;
  readonly sky: SkyReader;
  readonly endMs: number;
  readonly options: RehearsalOptions;
  readonly noise: Random;
  readonly queue: Scheduled[];
  wakeMs: number | null;
  open: {
    readonly frameIndex: number;
    readonly openedMs: number;
    readonly exposure: Exposure;
    readonly reasons: readonly string[];
  } | null;
  readonly readings: Map<number, Reading>;
  readonly frames: RehearsalFrame[];
  isOver: boolean;
};

/**
 * Runs a night's own watch and governor against a given sky, in virtual time: the reducer's
 * effects are answered by a camera without pixels that knows only the sky's mean, its brightest
 * parts and its motion.
 *
 * The night ends with the last frame that is over before the sky is. Same sky, options and seed:
 * same frames.
 */
export function rehearse(sky: RehearsalSky, options: RehearsalOptions): RehearsalFrame[] {
  const startMs = sky.seconds[0]! * 1000;
  const random = createRandom(options.seed);
  const bench: Bench = {
    state: idleWatch({ ...DEFAULT_WATCH_SETTINGS, exposure: options.settings }),
    sky: readSky(sky),
    endMs: sky.seconds.at(-1)! * 1000,
    options,
    noise: random.fork("meter"),
    queue: [],
    wakeMs: null,
    open: null,
    readings: new Map(),
    frames: [],
    isOver: false,
  };
  const light =
    options.lightMeter === null
      ? null
      : simulateLightMeter(sky, options.lightMeter, random.fork("light meter"));
  applyEvent(bench, {
    kind: "started",
    atMs: monotonicMs(startMs),
    settings: { ...DEFAULT_WATCH_SETTINGS, exposure: options.settings },
    first: options.first,
    nextFrameIndex: 0,
    history: [],
  });
  while (!bench.isOver) {
    const next = nextEvent(bench, light?.nextMs ?? Infinity);
    if (next !== null) applyEvent(bench, next);
    else if (light === null) break;
    else {
      const sample = light.take();
      if (sample !== null) {
        applyEvent(bench, {
          kind: "lightSampled",
          atMs: monotonicMs(sample.atMs),
          value: sample.value,
        });
      }
      if (light.nextMs > bench.endMs + 1000) break;
    }
  }
  return bench.frames;
}

/** The next event before the light meter's next sample; a wake-up comes last of its moment. */
function nextEvent(bench: Bench, lightMs: number): WatchEvent | null {
  let best = -1;
  for (let index = 0; index < bench.queue.length; index += 1) {
    if (best < 0 || bench.queue[index]!.atMs < bench.queue[best]!.atMs) best = index;
  }
  const queuedMs = best < 0 ? Infinity : bench.queue[best]!.atMs;
  const wakeMs = bench.wakeMs ?? Infinity;
  if (Math.min(queuedMs, wakeMs) > lightMs) return null;
  if (queuedMs <= wakeMs && best >= 0) return bench.queue.splice(best, 1)[0]!.event;
  if (wakeMs === Infinity) return null;
  bench.wakeMs = null;
  return { kind: "woke", atMs: monotonicMs(wakeMs) };
}

function applyEvent(bench: Bench, event: WatchEvent): void {
  if (event.kind === "shutterClosed") develop(bench, event.happened);
  const { state, effects } = reduceWatch(bench.state, event);
  bench.state = state;
  for (const effect of effects) perform(bench, effect, event.atMs);
}

function schedule(bench: Bench, event: WatchEvent): void {
  bench.queue.push({ atMs: event.atMs, event });
}

function perform(bench: Bench, effect: WatchEffect, nowMs: number): void {
  const atMs = monotonicMs(nowMs);
  const { settings } = bench.options;
  switch (effect.kind) {
    case "connectCamera":
      return schedule(bench, {
        kind: "cameraConnected",
        atMs,
        isoLadder: settings.isoLadder,
        fNumber: settings.fNumber,
        program: "manual",
        canTakeFrames: true,
        isToneCurveKnown: true,
      });
    case "expose":
      return expose(bench, effect);
    case "closeShutter":
      return close(bench, nowMs);
    case "keepFrame":
      return schedule(bench, { kind: "frameKept", atMs, frameIndex: effect.frameIndex });
    case "meterFrame":
      return deliverReading(bench, effect.frameIndex, nowMs);
    case "readStatus":
      return schedule(bench, {
        kind: "statusRead",
        atMs,
        batteryPercent: null,
        freeBytes: null,
        freeFrames: null,
      });
    case "wake":
      bench.wakeMs = effect.atMs;
      return;
    case "closeCamera":
      bench.isOver = true;
      return;
    case "markMissing":
    case "reconcileCard":
      return;
  }
}

function expose(bench: Bench, effect: Extract<WatchEffect, { kind: "expose" }>): void {
  const { frameIndex, exposure, openAtMs, reasons } = effect;
  const closeMs = openAtMs + exposure.exposureSeconds * 1000;
  if (closeMs > bench.endMs) {
    bench.isOver = true;
    return;
  }
  bench.open = { frameIndex, openedMs: openAtMs, exposure, reasons };
  schedule(bench, { kind: "shutterOpened", atMs: openAtMs, frameIndex });
  schedule(bench, {
    kind: "shutterClosed",
    atMs: monotonicMs(closeMs),
    frameIndex,
    happened: exposure,
  });
  aftermath(bench, closeMs);
}

/** The light meter closes the shutter before its time. */
function close(bench: Bench, nowMs: number): void {
  const { open } = bench;
  if (open === null) return;
  const exposureSeconds = (nowMs - open.openedMs) / 1000;
  const exposure = { ...open.exposure, exposureSeconds };
  for (let index = bench.queue.length - 1; index >= 0; index -= 1) {
    const { event } = bench.queue[index]!;
    const isAfterwards =
      event.kind === "cameraReady" ||
      ((event.kind === "shutterClosed" || event.kind === "frameArrived") &&
        event.frameIndex === open.frameIndex);
    if (isAfterwards) bench.queue.splice(index, 1);
  }
  schedule(bench, {
    kind: "shutterClosed",
    atMs: monotonicMs(nowMs),
    frameIndex: open.frameIndex,
    happened: exposure,
  });
  aftermath(bench, nowMs);
}

/** What follows a closed shutter: the reading, and the camera ready again. */
function aftermath(bench: Bench, closeMs: number): void {
  const { timing } = bench.options;
  const frameIndex = bench.open!.frameIndex;
  schedule(bench, {
    kind: "frameArrived",
    atMs: monotonicMs(closeMs + timing.readingDelaySeconds * 1000),
    frameIndex,
  });
  schedule(bench, { kind: "cameraReady", atMs: monotonicMs(closeMs + timing.busySeconds * 1000) });
}

/** The shutter has closed: what the frame got, and what the meter will say of it. */
function develop(bench: Bench, happened: Exposure): void {
  const { open, options } = bench;
  if (open === null) return;
  const { settings } = options;
  const startSeconds = open.openedMs / 1000;
  const window = bench.sky.window(startSeconds, startSeconds + happened.exposureSeconds);
  const judged = judgeFrame(window, happened, settings);
  const reading = meter(window, settings.targetStops + judged.errorStops, bench);
  bench.readings.set(open.frameIndex, reading);
  bench.frames.push({
    index: open.frameIndex,
    startSeconds,
    exposure: happened,
    meteredStops: reading.skyStops - settings.targetStops,
    ...judged,
    reasons:
      happened.exposureSeconds < open.exposure.exposureSeconds
        ? [...open.reasons, CLOSED_EARLY]
        : open.reasons,
  });
}

const CLOSED_EARLY = "closed when the light meter had its dose";

/** A reading without pixels: the mean with the meter's noise, cut off at the ceiling. */
function meter(window: SkyWindow, skyStops: number, { options, noise }: Bench): Reading {
  const { settings, timing } = options;
  const clipped = clipSky(skyStops, window.peakRatio);
  const noisy = clipped.skyStops + timing.meterNoiseStops * noise.normal();
  return {
    skyStops: noisy,
    uncertaintyStops: timing.meterNoiseStops,
    skyLuminanceCdM2: window.meanCdM2,
    peakRatio: window.peakRatio,
    clippedShare: {
      red: clipped.clippedShare,
      green: clipped.clippedShare,
      blue: clipped.clippedShare,
    },
    skyShare: 1,
    histogram: [],
    motion: motionOf(window.driftDegPerSecond, settings),
    starWidthPx: null,
    starCount: 0,
    remarks: [],
  };
}

function deliverReading(bench: Bench, frameIndex: number, nowMs: number): void {
  const reading = bench.readings.get(frameIndex);
  if (reading === undefined) return;
  bench.readings.delete(frameIndex);
  schedule(bench, { kind: "readingArrived", atMs: monotonicMs(nowMs), frameIndex, reading });
}
