import { expect, it } from "vitest";

import { cardFullMs, nextFrameMs } from "../../../core/watch/shortages.ts";
import { withCamera, withFrames } from "../../../core/watch/knownParts.ts";
import type { CameraKnowledge, FrameKnowledge, WatchState } from "../../../core/watch/state.ts";
import { monotonicMs } from "../../../core/units.ts";
import { watchIn, type PhaseKind } from "../../support/watchPhases.ts";

type Over = {
  readonly frames?: Partial<FrameKnowledge>;
  readonly camera?: Partial<CameraKnowledge>;
};
const knowing = (phase: PhaseKind, over: Over): WatchState => {
  const state = watchIn(phase);
  const frames = { ...state.known.frames, ...over.frames };
  return { ...state, known: withCamera(withFrames(state.known, frames), over.camera ?? {}) };
};
const exposing = (over: Over): WatchState => knowing("exposing", over);
const NOW = monotonicMs(1_000_000);

it("says when the card is full by the pace of the night, not by that of dusk", () => {
  const slow = exposing({ frames: { cadenceMs: 20_000 }, camera: { freeFrames: 180 } });
  expect(cardFullMs(slow.known, NOW)).toBe(NOW + 3_600_000);
  const longestSeconds = slow.known.settings.exposure.exposureSecondsMax;
  const dusk = exposing({ frames: { cadenceMs: 1_500 }, camera: { freeFrames: 180 } });
  expect(cardFullMs(dusk.known, NOW)).toBe(NOW + 180 * longestSeconds * 500);
});

it("does not guess how long a card lasts of which it knows no room, or no pace", () => {
  expect(
    cardFullMs(exposing({ frames: { cadenceMs: null }, camera: { freeFrames: 180 } }).known, NOW),
  ).toBeNull();
  expect(
    cardFullMs(
      exposing({ frames: { cadenceMs: 12_000 }, camera: { freeFrames: null } }).known,
      NOW,
    ),
  ).toBeNull();
});

it("expects the next frame one pace after the open one, and none while nothing follows", () => {
  const open = exposing({ frames: { cadenceMs: 12_000, lastOpenedMs: NOW } });
  expect(nextFrameMs(open)).toBe(NOW + 12_000);
  expect(nextFrameMs(exposing({ frames: { cadenceMs: null, lastOpenedMs: NOW } }))).toBeNull();
  for (const phase of ["paused", "recovering", "finished"] as const) {
    const state = knowing(phase, { frames: { cadenceMs: 12_000, lastOpenedMs: NOW } });
    expect(nextFrameMs(state), phase).toBeNull();
  }
});
