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
import { guardFromFiles, guardFromStars, guardsFromStatus } from "./guards.ts";
import { afterNoReading, afterReading } from "./pictureTrack.ts";
import { withReadingDelay } from "./readingGrace.ts";
import { withCamera, withFrames, withFramesAndSky, withLoose } from "./knownParts.ts";
import type {
  CameraKnowledge,
  SkyKnowledge,
  SurgeSpan,
  TakenFrame,
  WatchKnowledge,
  WatchState,
} from "./state.ts";
import { goesOn, withGovernor, withKnown, type WatchStep } from "./watchStep.ts";

/** More frames than this waiting for their reading: the oldest are given up. */
const TAKEN_COUNT_MAX = 32;

/**
 * What an event adds to the watch's knowledge, whatever the shutter is doing: readings, files,
 * battery, card, climate. The phase is left alone.
 */
export function recordKnowledge(state: WatchState, event: KnowledgeEvent): WatchStep {
  if (event.kind === "readingArrived") return goesOn(recordReading(state, event));
  const { known, effects } = learned(state.known, event);
  return goesOn(withKnown(state, known), effects);
}

type Learned = { readonly known: WatchKnowledge; readonly effects?: readonly WatchEffect[] };

function learned(
  known: WatchKnowledge,
  event: Exclude<KnowledgeEvent, { kind: "readingArrived" }>,
): Learned {
  switch (event.kind) {
    case "settingsChanged":
      return { known: withExposureSettings(known, event.exposure) };
    case "placeFound":
      return { known: { ...known, settings: { ...known.settings, dawnMs: event.dawnMs } } };
    case "frameArrived":
      return {
        known: withUnkept(known, known.frames.unkeptCount + 1),
        effects: [
          { kind: "keepFrame", frameIndex: event.frameIndex },
          { kind: "meterFrame", frameIndex: event.frameIndex },
        ],
      };
    case "frameMissing":
      return {
        known: withoutPicture(known, event.why, event),
        effects: [{ kind: "markMissing", frameIndex: event.frameIndex, why: event.why }],
      };
    case "cameraRemarked": {
      const { atMs, sentence } = event;
      return { known: raiseGuard(known, atMs, { guard: "camera", level: "note", sentence }) };
    }
    case "frameKept":
      return recordKept(known, event.frameIndex);
    case "keepFailed":
      return { known: recordRefused(known, event) };
    case "readingFailed":
      return { known: withoutPicture(known, event.sentence, event) };
    case "statusRead":
      return { known: recordStatus(known, event) };
    case "climateRead": {
      const { temperatureC, humidityPercent } = event;
      const climate = { temperatureC, humidityPercent };
      return { known: guardsFromClimate({ ...known, climate }, event.atMs) };
    }
    case "sleepGuarded":
      return { known: guardSleep(known, event.lack, event.atMs) };
    case "clockCompared": {
      const clocks = { ...known.camera.clocks, oursLessGnssMs: event.oursLessGnssMs };
      return { known: guardClock(withCamera(known, { clocks }), event.atMs) };
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
  known: WatchKnowledge,
  why: string,
  { frameIndex, atMs }: { readonly frameIndex: number; readonly atMs: MonotonicMs },
): WatchKnowledge {
  const pictures = afterNoReading(known.frames.pictures, why, atMs);
  return withFrames(known, { ...known.frames, taken: withoutTaken(known, frameIndex), pictures });
}

function withExposureSettings(
  known: WatchKnowledge,
  changed: Extract<WatchEvent, { kind: "settingsChanged" }>["exposure"],
): WatchKnowledge {
  const exposure = { ...known.settings.exposure, ...changed };
  return { ...known, settings: { ...known.settings, exposure } };
}

/** Battery and card; what the camera does not tell this time stays as it was. */
function recordStatus(
  known: WatchKnowledge,
  event: Extract<WatchEvent, { kind: "statusRead" }>,
): WatchKnowledge {
  const reported = {
    batteryPercent: event.batteryPercent ?? known.camera.batteryPercent,
    batteryFalls: batteryFallsOf(known, event),
    freeBytes: event.freeBytes ?? known.camera.freeBytes,
    freeFrames: event.freeFrames ?? known.camera.freeFrames,
  };
  return guardsFromStatus(withCamera(known, reported), event.atMs);
}

function batteryFallsOf(
  { camera: { batteryFalls, batteryPercent: beforePercent } }: WatchKnowledge,
  { atMs, batteryPercent: percent }: Extract<WatchEvent, { kind: "statusRead" }>,
): CameraKnowledge["batteryFalls"] {
  if (percent === null) return batteryFalls;
  return withBatteryReading(batteryFalls, { atMs, percent, beforePercent });
}

/** The disk takes nothing: reported once, with the first sentence. */
function recordRefused(
  known: WatchKnowledge,
  { atMs, frameIndex, sentence }: Extract<WatchEvent, { kind: "keepFailed" }>,
): WatchKnowledge {
  const reported = isDiskRefusing(known)
    ? known
    : raiseGuard(known, atMs, { guard: "storage", level: "stop", sentence });
  return frameIndex === null ? reported : withUnkept(reported, known.frames.unkeptCount - 1);
}

/** A frame is whole on disk; those before it that the disk refused are still on the card. */
function recordKept(known: WatchKnowledge, frameIndex: number): Learned {
  const kept = withUnkept(clearGuard(known, "storage"), known.frames.unkeptCount - 1);
  const effects: readonly WatchEffect[] = [{ kind: "reconcileCard", beforeFrameIndex: frameIndex }];
  return { known: kept, effects: isDiskRefusing(known) ? effects : [] };
}

function withUnkept(known: WatchKnowledge, count: number): WatchKnowledge {
  return withFrames(known, { ...known.frames, unkeptCount: Math.max(0, count) });
}

/** Whether the photographer has read that the disk or the card takes nothing more. */
export function isDiskRefusing({ guards }: WatchKnowledge): boolean {
  return guards.some(({ guard, level }) => guard === "storage" && level === "stop");
}

/** A closed shutter's frame now waits for its reading; a shutter that has closed is not loose. */
export function recordTaken(
  known: WatchKnowledge,
  frame: TakenFrame,
  atMs: MonotonicMs,
): WatchKnowledge {
  const { frames } = known;
  const closed = withFrames(known, {
    ...frames,
    takenCount: frames.takenCount + 1,
    taken: [...frames.taken, frame].slice(-TAKEN_COUNT_MAX),
    lastClosedMs: atMs,
  });
  const { freeFrames } = known.camera;
  const room =
    freeFrames === null ? closed : withCamera(closed, { freeFrames: Math.max(0, freeFrames - 1) });
  return withLoose(room, null);
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
  event: Extract<KnowledgeEvent, { kind: "readingArrived" }>,
): WatchState {
  const { frameIndex, reading, atMs } = event;
  const { known } = state;
  const taken = known.frames.taken.find((one) => one.frameIndex === frameIndex);
  if (!taken) return { ...state, ignored: "a reading of a frame that nobody waits for" };
  const frame = withIsoInFile(taken, event.isoInFile);
  const { clippedShareMax } = known.settings.exposure;
  const observation = observationOf(frame, reading);
  const watched = observeActivity(known.sky.surge, observation);
  const surges = surgesAfter(known.sky.surges, watched, frame.openedMs);
  const { pace, quietSinceMs } = paceAfter(known, surges, atMs);
  const probesLeft = reading.remarks.includes(TONE_CURVE_UNSURE) ? known.sky.probesLeft : 0;
  const read = withFramesAndSky(known, {
    frames: {
      ...known.frames,
      taken: withoutTaken(known, frameIndex),
      readingDelaysMs: withReadingDelay(known.frames.readingDelaysMs, frame, atMs),
      pictures: afterReading(known.frames.pictures, reading, { clippedShareMax, atMs }),
    },
    sky: { surge: watched.state, surges, stars: known.sky.stars, pace, probesLeft, quietSinceMs },
  });
  const governor = observeFrame(state.governor, observation, known.settings.exposure);
  const informed = knowingIso(guardFromStars(read, reading, atMs), event);
  return withGovernor(withKnown(state, informed), governor);
}

function withIsoInFile(frame: TakenFrame, iso: number | undefined): TakenFrame {
  return iso === undefined ? frame : { ...frame, happened: { ...frame.happened, iso } };
}

/** A camera whose ISO stands in its files alone is governed by time, at the ISO of the newest. */
function knowingIso(
  known: WatchKnowledge,
  { isoInFile, atMs }: { readonly isoInFile?: number; readonly atMs: MonotonicMs },
): WatchKnowledge {
  const { exposure } = known.settings;
  const isKnown = exposure.isoLadder.length === 1 && exposure.isoLadder[0] === isoInFile;
  if (isoInFile === undefined || isKnown) return known;
  const settings = { ...known.settings, exposure: { ...exposure, isoLadder: [isoInFile] } };
  return guardFromFiles({ ...known, settings }, isoInFile, atMs);
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
function paceAfter(
  known: WatchKnowledge,
  surges: readonly SurgeSpan[],
  atMs: MonotonicMs,
): Pick<SkyKnowledge, "pace" | "quietSinceMs"> {
  const inSurge = surges.at(-1)?.endMs === null;
  const quietSinceMs = inSurge ? null : (known.sky.quietSinceMs ?? atMs);
  const { sentinelIntervalSeconds, quietBeforeSentinelSeconds } = known.settings;
  if (quietSinceMs === null || sentinelIntervalSeconds === null) {
    return { pace: "full", quietSinceMs };
  }
  const isSentinel = atMs - quietSinceMs >= quietBeforeSentinelSeconds * 1000;
  return { quietSinceMs, pace: isSentinel ? "sentinel" : "full" };
}

/** The frames still waiting for their reading when this one waits no longer. */
function withoutTaken({ frames }: WatchKnowledge, frameIndex: number): readonly TakenFrame[] {
  return frames.taken.filter((frame) => frame.frameIndex !== frameIndex);
}
