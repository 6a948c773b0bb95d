import { wakeMs } from "../../core/watch/deadlines.ts";
import type { WatchPhaseState, WatchState } from "../../core/watch/state.ts";
import { idleWatch } from "../../core/watch/idleWatch.ts";
import { monotonicMs } from "../../core/units.ts";
import {
  aReading,
  anExposure,
  at,
  connectedCamera,
  exposing,
  play,
  started,
  type BareEvent,
} from "./watchFixtures.ts";

export type PhaseKind = WatchPhaseState["kind"];

const closed = at(10_200, { kind: "shutterClosed", frameIndex: 0, happened: anExposure() });
const ready = at(11_200, { kind: "cameraReady" });
const status = { batteryPercent: null, freeBytes: null, freeFrames: null };

/** The camera's link is lost. */
export const GONE: BareEvent = {
  kind: "cameraFailed",
  code: "camera.gone",
  sentence: "The link is gone.",
  frameIndex: null,
  gone: true,
};

/** A watch in each of its phases, as the night itself leads there. */
export function watchIn(kind: PhaseKind): WatchState {
  const state = WATCHES[kind]();
  if (state.phase.kind !== kind) throw new Error(`${kind} came out as ${state.phase.kind}`);
  return state;
}

const WATCHES: Readonly<Record<PhaseKind, () => WatchState>> = {
  idle: () => idleWatch(),
  connecting: () => play([at(0, started())]).state,
  waiting: () =>
    play([at(0, started({ startMs: monotonicMs(60_000) })), at(100, connectedCamera())]).state,
  between: () => {
    const { exposure } = idleWatch().known.settings;
    const paced = exposing({ exposure: { ...exposure, intervalSeconds: 30 } });
    return play([closed, ready], paced).state;
  },
  ordered: () => play([at(0, started()), at(100, connectedCamera())]).state,
  exposing: () => exposing(),
  closing: () => play([at(36_000, { kind: "woke" })], exposing()).state,
  readingOut: () => play([closed], exposing()).state,
  paused: () => play([at(3000, { kind: "paused" }), closed, ready], exposing()).state,
  recovering: () => play([at(3000, GONE)], exposing()).state,
  ending: () => play([closed, ready], exposing({ frameCountMax: 1 })).state,
  finished: () => play([at(500, { kind: "cameraClosed" })], stoppedWatch()).state,
};

function stoppedWatch(): WatchState {
  return play([at(0, started()), at(200, { kind: "stopped" })]).state;
}

/** When the next event of a test comes: the moment that the phase waits for, else later than all before. */
export function nextMs(state: WatchState): number {
  return wakeMs(state) ?? 60_000;
}

/** One event of each kind. */
export const EVERY_EVENT: { readonly [K in BareEvent["kind"]]: Extract<BareEvent, { kind: K }> } = {
  started: started() as Extract<BareEvent, { kind: "started" }>,
  paused: { kind: "paused" },
  resumed: { kind: "resumed" },
  stopped: { kind: "stopped" },
  woke: { kind: "woke" },
  cameraConnected: connectedCamera() as Extract<BareEvent, { kind: "cameraConnected" }>,
  cameraFailed: GONE as Extract<BareEvent, { kind: "cameraFailed" }>,
  cameraReady: { kind: "cameraReady" },
  cameraClosed: { kind: "cameraClosed" },
  shutterOpened: { kind: "shutterOpened", frameIndex: 0 },
  shutterClosed: { kind: "shutterClosed", frameIndex: 0, happened: anExposure() },
  lightSampled: { kind: "lightSampled", value: 1 },
  settingsChanged: { kind: "settingsChanged", exposure: { targetStops: -1.5 } },
  placeFound: { kind: "placeFound", dawnMs: monotonicMs(9e6) },
  frameArrived: { kind: "frameArrived", frameIndex: 0 },
  frameMissing: { kind: "frameMissing", frameIndex: 0, why: "no picture came" },
  frameKept: { kind: "frameKept", frameIndex: 0 },
  keepFailed: { kind: "keepFailed", frameIndex: 0, sentence: "The disk is full." },
  readingArrived: { kind: "readingArrived", frameIndex: 0, reading: aReading() },
  readingFailed: { kind: "readingFailed", frameIndex: 0, sentence: "no JPEG" },
  statusRead: { kind: "statusRead", ...status },
  climateRead: { kind: "climateRead", temperatureC: -12, humidityPercent: 60 },
  cameraRemarked: { kind: "cameraRemarked", sentence: "The camera refuses bulb." },
  clockCompared: { kind: "clockCompared", oursLessGnssMs: 20 },
  sleepGuarded: { kind: "sleepGuarded", lack: "This computer may fall asleep." },
};

/** The phases of a watch that runs. */
export const RUNNING_PHASES = (Object.keys(WATCHES) as PhaseKind[]).filter(
  (kind) => kind !== "idle" && kind !== "finished" && kind !== "ending",
);

export const ALL_PHASES = Object.keys(WATCHES) as readonly PhaseKind[];
