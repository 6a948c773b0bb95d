import { observeActivity } from "../activity/surge.ts";
import { observeFrame, observeLight, type FrameObservation } from "../exposure/governor.ts";
import { TONE_CURVE_UNSURE, type Reading } from "../photometry/reading.ts";
import type { CurtainMotion } from "../exposure/curtainMotion.ts";
import type { MonotonicMs } from "../units.ts";
import type { WatchEffect } from "./effects.ts";
import type { KnowledgeEvent, WatchEvent } from "./events.ts";
import { withBatteryReading } from "./batteryDrain.ts";
import { guardsFromClimate, guardClock, guardSleep } from "./environmentGuards.ts";
import { clearGuard, raiseGuard } from "./raiseGuard.ts";
import { guardFromStars, guardsFromStatus } from "./guards.ts";
import { afterNoReading, afterReading } from "./pictureTrack.ts";
import { withReadingDelay } from "./readingGrace.ts";
import type { SurgeSpan, TakenFrame, WatchState } from "./state.ts";
import { goesOn, type WatchStep } from "./watchStep.ts";
import { withGovernor } from "./withGovernor.ts";

/** More frames than this waiting for their reading: the oldest are given up. */
const TAKEN_COUNT_MAX = 32;

/**
 * What an event adds to the watch's knowledge, whatever the shutter is doing: readings, files,
 * battery, card, climate. The phase is left alone.
 */
export function recordKnowledge(state: WatchState, event: KnowledgeEvent): WatchStep {
  switch (event.kind) {
    case "settingsChanged":
      return goesOn(withExposureSettings(state, event.exposure));
    case "placeFound":
      return goesOn({ ...state, settings: { ...state.settings, dawnMs: event.dawnMs } });
    case "frameArrived":
      return goesOn({ ...state, unkeptCount: state.unkeptCount + 1 }, [
        { kind: "keepFrame", frameIndex: event.frameIndex },
        { kind: "meterFrame", frameIndex: event.frameIndex },
      ]);
    case "frameMissing":
      return goesOn(withoutPicture(state, event.why, event), [
        { kind: "markMissing", frameIndex: event.frameIndex, why: event.why },
      ]);
    case "cameraRemarked":
      return goesOn(
        raiseGuard(state, event.atMs, { guard: "camera", level: "note", sentence: event.sentence }),
      );
    case "frameKept":
      return recordKept(state, event.frameIndex);
    case "keepFailed":
      return goesOn(recordRefused(state, event));
    case "readingFailed":
      return goesOn(withoutPicture(state, event.sentence, event));
    case "readingArrived":
      return goesOn(recordReading(state, event.frameIndex, event.reading, event.atMs));
    case "statusRead":
      return goesOn(recordStatus(state, event));
    case "climateRead": {
      const { temperatureC, humidityPercent } = event;
      const climate = { temperatureC, humidityPercent };
      return goesOn(guardsFromClimate({ ...state, climate }, event.atMs));
    }
    case "sleepGuarded":
      return goesOn(guardSleep(state, event.lack, event.atMs));
    case "clockCompared": {
      const clocks = { ...state.clocks, oursLessGnssMs: event.oursLessGnssMs };
      return goesOn(guardClock({ ...state, clocks }, event.atMs));
    }
  }
}

/** A sample of the sky light meter while no frame's length depends on it. */
export function observeSample(
  state: WatchState,
  { atMs, value }: Extract<WatchEvent, { kind: "lightSampled" }>,
): WatchStep {
  return goesOn(withGovernor(state, observeLight(state.governor, { atMs, value })));
}

/** A frame that the governor has to do without: it has no picture, or none that can be metered. */
function withoutPicture(
  state: WatchState,
  why: string,
  { frameIndex, atMs }: { readonly frameIndex: number; readonly atMs: MonotonicMs },
): WatchState {
  const pictures = afterNoReading(state.pictures, why, atMs);
  return { ...withoutTaken(state, frameIndex), pictures };
}

function withExposureSettings(
  state: WatchState,
  changed: Extract<WatchEvent, { kind: "settingsChanged" }>["exposure"],
): WatchState {
  const exposure = { ...state.settings.exposure, ...changed };
  return { ...state, settings: { ...state.settings, exposure } };
}

/** Battery and card; what the camera does not tell this time stays as it was. */
function recordStatus(
  state: WatchState,
  event: Extract<WatchEvent, { kind: "statusRead" }>,
): WatchState {
  const reported = {
    batteryPercent: event.batteryPercent ?? state.batteryPercent,
    batteryFalls: batteryFallsOf(state, event),
    freeBytes: event.freeBytes ?? state.freeBytes,
    freeFrames: event.freeFrames ?? state.freeFrames,
  };
  return guardsFromStatus({ ...state, ...reported }, event.atMs);
}

function batteryFallsOf(
  { batteryFalls, batteryPercent: beforePercent }: WatchState,
  { atMs, batteryPercent: percent }: Extract<WatchEvent, { kind: "statusRead" }>,
): WatchState["batteryFalls"] {
  if (percent === null) return batteryFalls;
  return withBatteryReading(batteryFalls, { atMs, percent, beforePercent });
}

/** The disk takes nothing: reported once, with the first sentence. */
function recordRefused(
  state: WatchState,
  { atMs, frameIndex, sentence }: Extract<WatchEvent, { kind: "keepFailed" }>,
): WatchState {
  const reported = isDiskRefusing(state)
    ? state
    : raiseGuard(state, atMs, { guard: "storage", level: "stop", sentence });
  return {
    ...reported,
    unkeptCount: Math.max(0, state.unkeptCount - (frameIndex === null ? 0 : 1)),
  };
}

/** A frame is whole on disk; those before it that the disk refused are still on the card. */
function recordKept(state: WatchState, frameIndex: number): WatchStep {
  const kept = {
    ...clearGuard(state, "storage"),
    unkeptCount: Math.max(0, state.unkeptCount - 1),
  };
  const effects: readonly WatchEffect[] = [{ kind: "reconcileCard", beforeFrameIndex: frameIndex }];
  return { state: kept, effects: isDiskRefusing(state) ? effects : [] };
}

/** Whether the photographer has read that the disk or the card takes nothing more. */
export function isDiskRefusing({ guards }: WatchState): boolean {
  return guards.some(({ guard, level }) => guard === "storage" && level === "stop");
}

/** A closed shutter's frame now waits for its reading. */
export function recordTaken(state: WatchState, frame: TakenFrame, atMs: MonotonicMs): WatchState {
  return {
    ...state,
    takenCount: state.takenCount + 1,
    taken: [...state.taken, frame].slice(-TAKEN_COUNT_MAX),
    lastClosedMs: atMs,
    freeFrames: state.freeFrames === null ? null : Math.max(0, state.freeFrames - 1),
  };
}

/** The governor's view of a reading. */
export function observationOf(frame: TakenFrame, reading: ReadingFigures): FrameObservation {
  return {
    frameIndex: frame.frameIndex,
    openedMs: frame.openedMs,
    exposure: frame.happened,
    skyStops: reading.skyStops,
    uncertaintyStops: reading.uncertaintyStops,
    peakRatio: reading.peakRatio,
    clippedShare: Math.max(
      reading.clippedShare.red,
      reading.clippedShare.green,
      reading.clippedShare.blue,
    ),
    motion: reading.motion,
  };
}

type ReadingFigures = Pick<
  Reading,
  "skyStops" | "uncertaintyStops" | "peakRatio" | "clippedShare"
> & { readonly motion: CurtainMotion };

function recordReading(
  state: WatchState,
  frameIndex: number,
  reading: Reading,
  atMs: MonotonicMs,
): WatchState {
  const frame = state.taken.find((taken) => taken.frameIndex === frameIndex);
  if (!frame) return { ...state, ignored: "a reading of a frame that nobody waits for" };
  const { clippedShareMax } = state.settings.exposure;
  const observation = observationOf(frame, reading);
  const watched = observeActivity(state.surge, observation);
  const known: WatchState = {
    ...withoutTaken(state, frameIndex),
    readingDelaysMs: withReadingDelay(state.readingDelaysMs, frame, atMs),
    governor: observeFrame(state.governor, observation, state.settings.exposure),
    surge: watched.state,
    probesLeft: reading.remarks.includes(TONE_CURVE_UNSURE) ? state.probesLeft : 0,
    surges: surgesAfter(state.surges, watched, frame.openedMs),
    pictures: afterReading(state.pictures, reading, { clippedShareMax, atMs }),
  };
  return guardFromStars(paceAfter(known, atMs), reading, atMs);
}

function surgesAfter(
  surges: readonly SurgeSpan[],
  watched: { readonly change: "onset" | "end" | null; readonly riseStops: number },
  atMs: MonotonicMs,
): readonly SurgeSpan[] {
  if (watched.change === "onset") {
    return [...surges, { startMs: atMs, endMs: null, riseStops: watched.riseStops }];
  }
  const open = surges.at(-1);
  if (!open || open.endMs !== null) return surges;
  const endMs = watched.change === "end" ? atMs : null;
  const riseStops = Math.max(open.riseStops, watched.riseStops);
  if (endMs === null && riseStops === open.riseStops) return surges;
  return [...surges.slice(0, -1), { ...open, endMs, riseStops }];
}

/** Sentinel pace after a long quiet, full pace as soon as something happens. */
function paceAfter(state: WatchState, atMs: MonotonicMs): WatchState {
  const inSurge = state.surges.at(-1)?.endMs === null;
  if (inSurge || state.settings.sentinelIntervalSeconds === null) {
    return { ...state, pace: "full", quietSinceMs: inSurge ? null : (state.quietSinceMs ?? atMs) };
  }
  const quietSinceMs = state.quietSinceMs ?? atMs;
  const quietMs = atMs - quietSinceMs;
  const isSentinel = quietMs >= state.settings.quietBeforeSentinelSeconds * 1000;
  return { ...state, quietSinceMs, pace: isSentinel ? "sentinel" : "full" };
}

function withoutTaken(state: WatchState, frameIndex: number): WatchState {
  return { ...state, taken: state.taken.filter((frame) => frame.frameIndex !== frameIndex) };
}
