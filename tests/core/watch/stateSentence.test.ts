import { describe, expect, it } from "vitest";
import type { WatchEvent } from "../../../core/watch/events.ts";
import { idleWatch } from "../../../core/watch/idleWatch.ts";
import { nightState, watchRows, type NightFacts } from "../../../core/watch/stateSentence.ts";
import type { FrameKnowledge, WatchKnowledge, WatchState } from "../../../core/watch/state.ts";
import { monotonicMs } from "../../../core/units.ts";
import { STATE_LOOKS } from "../../../core/words/stateWords.ts";
import {
  aReading,
  anExposure,
  at,
  connectedCamera,
  exposing,
  play,
  started,
} from "../../support/watchFixtures.ts";
import { GONE, watchIn } from "../../support/watchPhases.ts";

const MINUTE_MS = 60_000;
/** The clock of these nights begins at 23:00. */
const context = (
  nowMs: number,
  freeDiskBytes: number | null = null,
): Omit<NightFacts, "watches"> => ({
  nowMs: monotonicMs(nowMs),
  freeDiskBytes,
  clockText: (atMs) => {
    const minutes = 23 * 60 + Math.floor(atMs / MINUTE_MS);
    const parts = [Math.floor(minutes / 60) % 24, minutes % 60];
    return parts.map((part) => String(part).padStart(2, "0")).join(":");
  },
});

function knowing(state: WatchState, over: Partial<WatchKnowledge>): WatchState {
  return { ...state, known: { ...state.known, ...over } };
}

function stateOf(state: WatchState, nowMs: number, isLastFrameWhole = true) {
  const watch = { cameraLabel: "Camera", state, isLastFrameWhole, fileBytes: null };
  return nightState({ ...context(nowMs), watches: [watch] });
}

/** Frames of 10 s back to back, `count` of them, each read; the last is open. */
function framesTaken(count: number, over: Parameters<typeof exposing>[0] = {}): WatchState {
  const events = Array.from({ length: count }, (_, index): WatchEvent[] => {
    const openedMs = 200 + index * 12_000;
    return [
      at(openedMs + 10_000, { kind: "shutterClosed", frameIndex: index, happened: anExposure() }),
      at(openedMs + 10_500, { kind: "frameArrived", frameIndex: index }),
      at(openedMs + 11_000, { kind: "readingArrived", frameIndex: index, reading: aReading() }),
      at(openedMs + 11_500, { kind: "frameKept", frameIndex: index }),
      at(openedMs + 11_900, { kind: "cameraReady" }),
      at(openedMs + 12_000, { kind: "shutterOpened", frameIndex: index + 1 }),
    ];
  });
  return play(events.flat(), exposing(over)).state;
}

describe("the state sentence", () => {
  it("says that a shutter may be open when the link is lost in mid-exposure, and asks to switch off", () => {
    const lost = play([at(12 * MINUTE_MS, GONE)], framesTaken(3)).state;
    const row = stateOf(lost, 13 * MINUTE_MS);
    expect(row).toMatchObject({ kind: "shutterLoose", alarm: "atOnce", sinceMs: 36_200 });
    expect(row.sentence).toBe(
      "The shutter may be open since 23:00. Trying to close it; if you are at the camera, switch it off.",
    );
  });

  it("is silent about the shutter once the camera has answered", () => {
    const back = play(
      [at(12 * MINUTE_MS, GONE), at(12 * MINUTE_MS + 500, { kind: "woke" })],
      framesTaken(3),
    ).state;
    const known = play([at(12 * MINUTE_MS + 900, connectedCamera())], back).state;
    expect(stateOf(known, 12 * MINUTE_MS + 900).kind).toBe("well");
    const unsure = at(12 * MINUTE_MS + 900, connectedCamera({ looseSinceMs: monotonicMs(36_200) }));
    expect(stateOf(play([unsure], back).state, 12 * MINUTE_MS + 900).kind).toBe("shutterLoose");
  });

  it("says that nothing watches without a camera, before the start and after the end", () => {
    expect(nightState({ ...context(0), watches: [] })).toMatchObject({
      kind: "nothingWatches",
      sentence: "No watch is running. Connect a camera to begin.",
    });
    expect(stateOf(watchIn("idle"), 0).kind).toBe("nothingWatches");
    expect(stateOf(watchIn("finished"), 0)).toMatchObject({
      kind: "nothingWatches",
      sentence: "The watch was stopped by hand.",
      alarm: "never",
    });
  });

  it("sounds the alarm at once for a watch that the battery ended", () => {
    const status = { kind: "statusRead", freeBytes: null, freeFrames: null } as const;
    const { state } = play(
      [
        at(500, { ...status, batteryPercent: 3 }),
        at(10_200, { kind: "shutterClosed", frameIndex: 0, happened: anExposure() }),
        at(11_200, { kind: "cameraReady" }),
      ],
      exposing(),
    );
    expect(stateOf(state, 12_000)).toMatchObject({ kind: "nothingWatches", alarm: "atOnce" });
  });

  it("says since when the camera is gone, how often it is tried, and what became of the last frame", () => {
    const reading = play(
      [
        at(36_200 + 10_000, { kind: "shutterClosed", frameIndex: 3, happened: anExposure() }),
        at(12 * MINUTE_MS, GONE),
      ],
      framesTaken(3),
    ).state;
    expect(stateOf(reading, 14 * MINUTE_MS)).toMatchObject({
      kind: "cameraGone",
      alarm: "afterTwoMinutes",
      sentence: "Camera gone since 23:12 (2 min), trying every 5 s. The last frame is whole.",
    });
    expect(stateOf(reading, 14 * MINUTE_MS, false).sentence).toMatch(/fetched from the card/);
  });

  it("keeps saying so while an attempt to reconnect is under way", () => {
    const trying = play([at(3000, GONE), at(3600, { kind: "woke" })], watchIn("between")).state;
    expect(trying.phase.kind).toBe("connecting");
    expect(stateOf(trying, 4000).kind).toBe("cameraGone");
  });

  it("says why a camera that was never there does not answer", () => {
    const never = play([
      at(0, started()),
      at(100, { ...GONE, sentence: "No camera answers." } as typeof GONE),
    ]);
    expect(stateOf(never.state, 200).sentence).toBe(
      "No camera answers. Trying every 5 s since 23:00.",
    );
  });

  it("says that the camera is busy, not gone, when it refuses a frame", () => {
    const busy = { ...GONE, code: "camera.busy", sentence: "The camera is busy.", gone: false };
    const { state } = play([at(40_000, busy as typeof GONE)], framesTaken(3));
    expect(stateOf(state, 41_000)).toMatchObject({
      kind: "cameraGone",
      sentence: "The camera is busy. Trying every 5 s since 23:00.",
    });
  });

  it("finds nothing amiss with the shortest exposure in a bright dusk, and says when the longest is too short", () => {
    const dusk = framesTaken(3, {
      exposure: {
        ...idleWatch().known.settings.exposure,
        exposureSecondsMin: 10,
        exposureSecondsMax: 10,
      },
    });
    const withPictures = (over: Partial<FrameKnowledge["pictures"]>): WatchState =>
      knowing(dusk, {
        frames: { ...dusk.known.frames, pictures: { ...dusk.known.frames.pictures, ...over } },
      });
    expect(stateOf(withPictures({ tooDark: null }), 37_000).kind).toBe("well");
    const tooDark = { sinceMs: monotonicMs(0), count: 3 };
    expect(stateOf(withPictures({ tooDark }), 37_000).sentence).toMatch(
      /^The longest exposure is reached since 23:00/,
    );
  });

  it("says what to turn on a camera whose dial stands wrong", () => {
    const dial = play([at(0, started()), at(100, connectedCamera({ program: "other" }))]).state;
    expect(stateOf(dial, 200)).toMatchObject({
      kind: "cameraGone",
      sentence: expect.stringMatching(/Turn the dial to M/) as string,
    });
  });

  it("counts the frames of 12 s that a pause of 3 minutes costs, and says when it ends", () => {
    const { state } = play(
      [
        at(12 * MINUTE_MS, { kind: "paused", untilMs: monotonicMs(22 * MINUTE_MS) }),
        at(12 * MINUTE_MS, { kind: "shutterClosed", frameIndex: 3, happened: anExposure() }),
        at(12 * MINUTE_MS + 900, { kind: "cameraReady" }),
      ],
      framesTaken(3),
    );
    expect(stateOf(state, 15 * MINUTE_MS)).toMatchObject({
      kind: "pausedByHand",
      sentence: "Paused by hand since 23:12. 15 frames not taken; resumes at 23:22.",
      alarm: "never",
    });
  });

  it("says that the camera is gone rather than that the watch is paused", () => {
    const { state } = play([at(80_000, GONE)], watchIn("paused"));
    expect(
      watchRows(
        { cameraLabel: "", state, isLastFrameWhole: true, fileBytes: null },
        context(81_000),
      ).map(({ kind }) => kind),
    ).toEqual(["cameraGone", "pausedByHand"]);
  });

  it("is blind after three frames in a row without a reading, and says why", () => {
    const failed = (index: number) =>
      at(40_000 + index, {
        kind: "readingFailed",
        frameIndex: index,
        sentence: "the camera stores raw only: set raw and JPEG",
      });
    const two = play([failed(1), failed(2)], framesTaken(3)).state;
    expect(stateOf(two, 41_000).kind).toBe("well");
    const three = play([failed(3)], two).state;
    expect(stateOf(three, 41_000)).toMatchObject({
      kind: "blind",
      sentence:
        "No picture since 23:00; exposing by forecast. The camera stores raw only: set raw and JPEG.",
    });
  });

  it("is late when a frame of 10 s has not closed 10 s after its time", () => {
    const open = framesTaken(3);
    expect(stateOf(open, 36_200 + 19_000).kind).toBe("well");
    expect(stateOf(open, 36_200 + 48_000)).toMatchObject({
      kind: "late",
      sentence: "No new frame for 48 s; one was due every 12 s.",
    });
  });

  /** Frames of 1 s, one every 3 s; the third has closed at 7.2 s, and the camera reads it out. */
  function shortFrames(): WatchState {
    const { exposure } = idleWatch().known.settings;
    const events = [0, 1, 2].flatMap((index): WatchEvent[] => {
      const openedMs = 200 + index * 3000;
      const happened = anExposure({ exposureSeconds: 1 });
      return [
        ...(index > 0 ? [at(openedMs, { kind: "shutterOpened", frameIndex: index } as const)] : []),
        at(openedMs + 1000, { kind: "shutterClosed", frameIndex: index, happened }),
        at(openedMs + 1100, { kind: "readingArrived", frameIndex: index, reading: aReading() }),
        at(openedMs + 1200, { kind: "frameKept", frameIndex: index }),
        ...(index < 2 ? [at(openedMs + 2900, { kind: "cameraReady" } as const)] : []),
      ];
    });
    return play(events, exposing({ exposure: { ...exposure, exposureSecondsMax: 1 } })).state;
  }

  it("is late as soon as the newest frame is older than two frame periods", () => {
    const silent = shortFrames();
    expect(stateOf(silent, 7200 + 6000).kind).toBe("well");
    expect(stateOf(silent, 7200 + 6001)).toMatchObject({
      ...{ kind: "late", sinceMs: 7200 + 3000 },
      sentence: "No new frame for 7 s; one was due every 3 s.",
    });
  });

  it("counts the wait again after a stretch without frames that was reported", () => {
    const paused = play(
      [at(7300, { kind: "paused" }), at(9000, { kind: "cameraReady" })],
      shortFrames(),
    ).state;
    const resumed = play([at(600_000, { kind: "resumed" })], paused).state;
    expect(stateOf(resumed, 600_000).kind).toBe("well");
    expect(stateOf(resumed, 606_001).kind).toBe("late");
  });

  it("says how many gigabytes a card lacks for the time until dawn", () => {
    const hour = 60 * MINUTE_MS;
    const room = { batteryPercent: 90, freeBytes: 20e9, freeFrames: 500 } as const;
    const settings = { dawnMs: monotonicMs(6 * hour), cardWarningFrames: 60 };
    const { state } = play([at(36_500, { kind: "statusRead", ...room })], framesTaken(3, settings));
    const row = stateOf(state, 40_000);
    expect(row.kind).toBe("willNotLast");
    // 500 frames, one every 12 s: 1 h 40 min; 21,560 s until dawn take 1,797 frames of 40 MB.
    expect(row.sentence).toBe(
      "The card is full at 00:40; dawn is at 05:00. 52 GB more are needed.",
    );
  });

  it("says that the laptop's disk fills before dawn", () => {
    const dawnMs = monotonicMs(6 * 60 * MINUTE_MS);
    const watch = { cameraLabel: "", isLastFrameWhole: true, fileBytes: 10e6 };
    const state = framesTaken(3, { dawnMs });
    const rows = watchRows({ ...watch, state }, context(40_000, 5e9));
    expect(rows[0]!.sentence).toMatch(
      /^The laptop's disk is full at 00:40; dawn is at 05:00\. 13 GB/,
    );
    expect(watchRows({ ...watch, state }, context(40_000, 500e9))[0]!.kind).toBe("well");
  });

  it("passes on a disk that refuses, before a lens that dews", () => {
    const refused = play(
      [at(40_000, { kind: "keepFailed", frameIndex: null, sentence: "The disk is full." })],
      framesTaken(3),
    ).state;
    const dew = {
      guard: "dew",
      level: "warning",
      sentence: "Dew.",
      sinceMs: monotonicMs(1),
    } as const;
    const both = knowing(refused, { guards: [dew, ...refused.known.guards] });
    expect(stateOf(both, 41_000)).toMatchObject({
      kind: "willNotLast",
      sentence: "The disk is full.",
    });
    expect(stateOf(knowing(both, { guards: [dew] }), 41_000)).toMatchObject({
      kind: "pictureAffected",
      sentence: "Dew.",
    });
  });

  it("says that highlights clip in the third frame beyond twice what is allowed", () => {
    const clipping = aReading({ clippedShare: { red: 0, green: 0.05, blue: 0 } });
    const frame = (index: number): WatchEvent[] => [
      at(index * 12_000 + 10_200, {
        kind: "shutterClosed",
        frameIndex: index,
        happened: anExposure(),
      }),
      at(index * 12_000 + 11_000, { kind: "readingArrived", frameIndex: index, reading: clipping }),
      at(index * 12_000 + 12_100, { kind: "cameraReady" }),
      at(index * 12_000 + 12_200, { kind: "shutterOpened", frameIndex: index + 1 }),
    ];
    const two = play([...frame(0), ...frame(1)], exposing()).state;
    expect(stateOf(two, 25_000).kind).toBe("well");
    const three = play(frame(2), two).state;
    expect(stateOf(three, 37_000).sentence).toMatch(/^Highlights clip since 23:00: 5.0 %/);
  });

  it("says in how much time the first frame comes", () => {
    const startMs = monotonicMs(72 * MINUTE_MS);
    const waiting = play([at(0, started({ startMs })), at(100, connectedCamera())]).state;
    expect(stateOf(waiting, 0)).toMatchObject({
      kind: "waiting",
      sentence: "Waiting for dark: first frame at 00:12, in 1 h 12 min.",
    });
    expect(stateOf(watchIn("connecting"), 0).sentence).toBe("Connecting to the camera.");
  });

  it("says since when a surge is on", () => {
    const surge = { startMs: monotonicMs(12 * MINUTE_MS), endMs: null, riseStops: 2 };
    const taken = framesTaken(3);
    const inSurge = knowing(taken, { sky: { ...taken.known.sky, surges: [surge] } });
    expect(stateOf(inSurge, 37_000)).toMatchObject({
      kind: "skyActs",
      sentence: "Surge since 23:12, full pace.",
    });
  });

  it("says that all is well when nothing else is true", () => {
    expect(stateOf(framesTaken(3), 37_000)).toMatchObject({
      kind: "well",
      sentence: "All is well.",
    });
  });

  it("names the camera when there are two, the worse one first", () => {
    const well = {
      cameraLabel: "North",
      state: framesTaken(3),
      isLastFrameWhole: true,
      fileBytes: null,
    };
    const gone = {
      ...well,
      cameraLabel: "South",
      state: play([at(3000, GONE)], watchIn("between")).state,
    };
    const { kind, sentence } = nightState({ ...context(37_000), watches: [well, gone] });
    expect(kind).toBe("cameraGone");
    expect(sentence).toMatch(/^South: Camera gone/);
  });

  it("gives every row a sign and a tab title of its own", () => {
    const looks = Object.values(STATE_LOOKS);
    expect(new Set(looks.map(({ sign }) => sign)).size).toBe(11);
    expect(new Set(looks.map(({ tabTitle }) => tabTitle)).size).toBe(11);
  });
});
