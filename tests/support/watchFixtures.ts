import type { Exposure } from "../../core/exposure/exposure.ts";
import type { WatchEffect } from "../../core/watch/effects.ts";
import type { WatchEvent } from "../../core/watch/events.ts";
import { idleWatch } from "../../core/watch/idleWatch.ts";
import { reduceWatch } from "../../core/watch/reduce.ts";
import type { WatchState } from "../../core/watch/state.ts";
import { DEFAULT_WATCH_SETTINGS, type WatchSettings } from "../../core/watch/watchSettings.ts";
import type { Reading } from "../../core/photometry/reading.ts";
import { monotonicMs } from "../../core/units.ts";

type Bare<T> = T extends { readonly atMs: unknown } ? Omit<T, "atMs"> : never;
/** An event without its time. */
export type BareEvent = Bare<WatchEvent>;

export function at(atMs: number, event: BareEvent): WatchEvent {
  return { ...event, atMs: monotonicMs(atMs) } as WatchEvent;
}

export function aReading(over: Partial<Reading> = {}): Reading {
  return {
    skyStops: -2,
    uncertaintyStops: 0.02,
    skyLuminanceCdM2: 0.001,
    peakRatio: 2,
    clippedShare: { red: 0, green: 0, blue: 0 },
    skyShare: 0.8,
    histogram: Array.from({ length: 64 }, () => 1),
    motion: { kind: "unknown", why: "no structure" },
    starWidthPx: null,
    starCount: 0,
    remarks: [],
    ...over,
  };
}

export function anExposure(over: Partial<Exposure> = {}): Exposure {
  return { exposureSeconds: 10, iso: 1600, fNumber: 2.8, ...over };
}

export function started(over: Partial<WatchSettings> = {}, nextFrameIndex = 0): BareEvent {
  return {
    kind: "started",
    settings: { ...DEFAULT_WATCH_SETTINGS, ...over },
    first: anExposure(),
    nextFrameIndex,
    history: [],
  };
}

export function connectedCamera(
  over: Partial<Extract<BareEvent, { kind: "cameraConnected" }>> = {},
): BareEvent {
  return {
    kind: "cameraConnected",
    isoLadder: [],
    fNumber: 2.8,
    program: "manual",
    canTakeFrames: true,
    isToneCurveKnown: false,
    ...over,
  };
}

/** Feeds events through the reducer and keeps every effect. */
export function play(
  events: readonly WatchEvent[],
  from: WatchState = idleWatch(),
): { readonly state: WatchState; readonly effects: readonly WatchEffect[] } {
  let state = from;
  const effects: WatchEffect[] = [];
  for (const event of events) {
    const step = reduceWatch(state, event);
    state = step.state;
    effects.push(...step.effects);
  }
  return { state, effects };
}

/** A watch whose camera is connected and whose first frame is open since `openedMs`. */
export function exposing(over: Partial<WatchSettings> = {}, openedMs = 200): WatchState {
  return play([
    at(0, started(over)),
    at(100, connectedCamera()),
    at(openedMs, { kind: "shutterOpened", frameIndex: 0 }),
  ]).state;
}
