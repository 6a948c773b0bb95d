import { describe, expect, it } from "vitest";
import { guardFromStars, guardsFromStatus } from "../../../core/watch/guards.ts";
import { withCamera } from "../../../core/watch/knownParts.ts";
import { idleWatch } from "../../../core/watch/idleWatch.ts";
import type { CameraKnowledge, WatchKnowledge, WatchState } from "../../../core/watch/state.ts";
import { monotonicMs } from "../../../core/units.ts";
import { aReading, exposing, play, at, anExposure } from "../../support/watchFixtures.ts";

const starry = (starWidthPx: number, starCount: number) => aReading({ starWidthPx, starCount });

function afterStars(frames: readonly (readonly [number, number])[]): WatchKnowledge {
  return frames.reduce(
    (known, [width, count], index) =>
      guardFromStars(known, starry(width, count), monotonicMs(index * 16_000)),
    idleWatch().known,
  );
}

describe("the guard over the lens", () => {
  const sharp = Array.from({ length: 20 }, () => [2.5, 80] as const);

  it("stays silent while the stars keep their width", () => {
    expect(afterStars(sharp).guards).toEqual([]);
  });

  it("warns of dew when stars are 1.6 times wider and half as many for six frames", () => {
    const { guards } = afterStars([...sharp, ...Array(6).fill([4, 40])]);
    expect(guards).toHaveLength(1);
    expect(guards[0]).toMatchObject({ guard: "dew", level: "warning" });
  });

  it("tells a moved focus from dew by the number of stars", () => {
    const { guards } = afterStars([...sharp, ...Array(6).fill([4, 75])]);
    expect(guards[0]?.guard).toBe("focus");
  });

  it("does not warn for a cloud that passes within five frames", () => {
    expect(afterStars([...sharp, ...Array(5).fill([4, 30]), [2.5, 80]]).guards).toEqual([]);
  });

  it("clears itself when the stars are sharp again", () => {
    expect(afterStars([...sharp, ...Array(8).fill([4, 40]), [2.5, 80]]).guards).toEqual([]);
  });

  it("says nothing of a sky with fewer than twelve stars", () => {
    expect(afterStars([...sharp, ...Array(10).fill([6, 5])]).guards).toEqual([]);
  });
});

describe("the guards over battery and card", () => {
  const withStatus = (over: Partial<CameraKnowledge>): WatchKnowledge =>
    guardsFromStatus(withCamera(idleWatch().known, over), monotonicMs(1000));

  it("warns at 20 % and stops at 4 %", () => {
    expect(withStatus({ batteryPercent: 21 }).guards).toEqual([]);
    expect(withStatus({ batteryPercent: 20 }).guards[0]).toMatchObject({
      guard: "battery",
      level: "warning",
    });
    expect(withStatus({ batteryPercent: 4 }).guards[0]?.level).toBe("stop");
  });

  it("warns with room for 60 frames and clears when a new card is in", () => {
    const low = withStatus({ freeFrames: 60 });
    expect(low.guards[0]).toMatchObject({ guard: "storage", level: "warning" });
    const fresh = guardsFromStatus(withCamera(low, { freeFrames: 900 }), monotonicMs(2000));
    expect(fresh.guards).toEqual([]);
  });

  it("keeps the time at which a guard was raised while its words change", () => {
    const first = withStatus({ batteryPercent: 18 });
    const later = guardsFromStatus(withCamera(first, { batteryPercent: 12 }), monotonicMs(90_000));
    expect(later.guards[0]?.sinceMs).toBe(1000);
    expect(later.guards[0]?.sentence).toContain("12 %");
  });
});

describe("the pace", () => {
  const settings = { sentinelIntervalSeconds: 60, quietBeforeSentinelSeconds: 120 };

  /** Frames of a steady sky, 16 s apart, until `untilMs`. */
  function quietUntil(untilMs: number): WatchState {
    let state = exposing(settings);
    for (let index = 0, nowMs = 200; nowMs < untilMs; index += 1) {
      nowMs += 15_000;
      state = play(
        [
          at(nowMs, { kind: "shutterClosed", frameIndex: index, happened: anExposure() }),
          at(nowMs + 800, { kind: "readingArrived", frameIndex: index, reading: aReading() }),
          at(nowMs + 1000, { kind: "cameraReady" }),
        ],
        state,
      ).state;
      if (state.phase.kind === "between") {
        nowMs = state.phase.notBeforeMs;
        state = play([at(nowMs, { kind: "woke" })], state).state;
      } else nowMs += 1000;
      state = play([at(nowMs, { kind: "shutterOpened", frameIndex: index + 1 })], state).state;
    }
    return state;
  }

  it("goes to sentinel pace after 120 s in which nothing happened, one frame a minute", () => {
    expect(quietUntil(60_000).known.sky.pace).toBe("full");
    const quiet = quietUntil(300_000);
    expect(quiet.known.sky.pace).toBe("sentinel");
    const openedMs = quiet.known.frames.lastOpenedMs ?? 0;
    const { state } = play(
      [
        at(openedMs + 15_000, {
          kind: "shutterClosed",
          frameIndex: quiet.known.frames.nextFrameIndex - 1,
          happened: anExposure(),
        }),
        at(openedMs + 16_000, { kind: "cameraReady" }),
      ],
      quiet,
    );
    expect(state.phase).toMatchObject({
      kind: "between",
      notBeforeMs: openedMs + 60_000,
    });
  });
});
