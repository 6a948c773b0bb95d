import { expect, it, test } from "vitest";
import { viewOf } from "../../../controller/night/watchView.ts";
import type { WatchState } from "../../../core/watch/state.ts";
import { monotonicMs, utcMs } from "../../../core/units.ts";
import { IN_UTC } from "../../support/viewInUtc.ts";
import { at, connectedCamera, exposing, play, started } from "../../support/watchFixtures.ts";

const START_UTC_MS = Date.UTC(2027, 2, 24, 18);
const HOUR_MS = 3_600_000;

function shown(state: WatchState, nowMs = 0) {
  return viewOf(state, {
    ...IN_UTC,
    nowMs: monotonicMs(nowMs),
    ...{ cameraId: "camera-1", cameraLabel: "Camera", newest: null, frameCount: 0 },
    utcOf: (atMs) => utcMs(START_UTC_MS + atMs),
  });
}

test.each([
  ["paused", "Pausing: the open frame is finished and kept first."],
  ["stopped", "Ending: the open frame is closed and kept first."],
] as const)("answers at once to %s while the shutter is open", (kind, sentence) => {
  const { state } = play([at(500, { kind })], exposing());
  expect(shown(state)).toMatchObject({ phase: "watching", isExposing: true, sentence });
});

it("says when frames begin for as long as it waits for dark", () => {
  const startMs = monotonicMs(2 * HOUR_MS);
  const { state } = play([at(0, started({ startMs })), at(100, connectedCamera())]);
  expect(shown(state)).toMatchObject({
    phase: "waiting",
    sentence: "Waiting for dark: first frame at 20:00 UTC, in 2 h.",
    startsUtcMs: START_UTC_MS + 2 * HOUR_MS,
  });
  expect(shown(exposing()).startsUtcMs).toBeNull();
});

it("knows from 90 % after an hour and 80 % after two that the battery ends at its limit of 5 % in hour 9.5", () => {
  const readings = [100, 90, 80].map((batteryPercent, hour) =>
    at(hour * HOUR_MS, { kind: "statusRead", batteryPercent, freeBytes: null, freeFrames: null }),
  );
  const { state } = play(readings, exposing({ batteryStopPercent: 5 }));
  expect(shown(state).batteryEndsUtcMs).toBeCloseTo(START_UTC_MS + 9.5 * HOUR_MS, 0);
});
