import { describe, expect, it } from "vitest";
import type { Scheduling } from "../../../core/words/timingWords.ts";
import type { WatchState } from "../../../core/watch/state.ts";
import { anExposure, at, connectedCamera, play, started } from "../../support/watchFixtures.ts";

/** A watch after frames whose shutters closed so late, ten seconds each. */
function afterClosings(
  latesMs: readonly (number | null)[],
  { scheduling = "ordinary" as Scheduling, from = begun() } = {},
): WatchState {
  let state = from;
  for (const lateMs of latesMs) {
    const frameIndex = state.known.frames.takenCount;
    const openedMs = 1000 + 20_000 * frameIndex;
    state = play(
      [
        at(openedMs, { kind: "shutterOpened", frameIndex }),
        at(openedMs + 10_000, {
          kind: "shutterClosed",
          ...{ frameIndex, happened: anExposure() },
          ...(lateMs === null ? {} : { closing: { lateMs, scheduling } }),
        }),
        at(openedMs + 11_000, { kind: "cameraReady" }),
        at(openedMs + 15_000, { kind: "woke" }),
      ],
      state,
    ).state;
  }
  return state;
}

const begun = (): WatchState => play([at(0, started()), at(100, connectedCamera())]).state;

const noteOf = ({ known }: WatchState) => known.guards.find(({ guard }) => guard === "timing");

const times = (count: number, lateMs: number): readonly number[] =>
  Array.from({ length: count }, () => lateMs);

describe("the note on a shutter that closes late", () => {
  it("comes when one frame in ten of twenty is more than 20 ms late, and says by how much", () => {
    const state = afterClosings([...times(17, 1), ...times(3, 34)]);
    expect(noteOf(state)).toMatchObject({ guard: "timing", level: "note", sinceMs: 391_000 });
    expect(noteOf(state)!.sentence).toMatch(/30 ms .*1 s .*3 %/);
  });

  it("does not come for one stray frame of 300 ms, for 20 ms in each, nor before twenty frames", () => {
    expect(noteOf(afterClosings([...times(19, 1), 300]))).toBeUndefined();
    expect(noteOf(afterClosings(times(60, 20)))).toBeUndefined();
    expect(noteOf(afterClosings(times(19, 90)))).toBeUndefined();
  });

  it("does not count frames that the camera times itself", () => {
    const byCamera = Array.from({ length: 30 }, () => null);
    expect(noteOf(afterClosings([...times(19, 90), ...byCamera]))).toBeUndefined();
  });

  it("stays between 10 and 20 ms, goes at 10 ms, and forgets what is fifty frames old", () => {
    const late = afterClosings(times(20, 40));
    expect(noteOf(afterClosings(times(50, 15), { from: late }))).toBeDefined();
    expect(noteOf(afterClosings(times(44, 2), { from: late }))).toBeDefined();
    expect(noteOf(afterClosings(times(45, 2), { from: late }))).toBeUndefined();
  });

  it("keeps its words while the lateness falls, and raises the figure when it grows", () => {
    const late = afterClosings(times(20, 45));
    expect(noteOf(late)!.sentence).toMatch(/40 ms/);
    const better = afterClosings(times(50, 25), { from: late });
    expect(noteOf(better)).toEqual(noteOf(late));
    const worse = afterClosings(times(50, 68), { from: better });
    expect(noteOf(worse)!.sentence).toMatch(/60 ms/);
    expect(noteOf(worse)!.sinceMs).toBe(noteOf(late)!.sinceMs);
  });

  it.each([
    ["ordinary", /service.*real-time scheduling.*end other programs/],
    ["ahead", /service.*real-time scheduling.*end other programs/],
    ["realTime", /has real-time scheduling already.*end other programs/],
    ["notOffered", /^(?!.*(service|real-time)).*end other programs/],
  ] as const)("says what helps where the scheduling is %s", (scheduling, advice) => {
    expect(noteOf(afterClosings(times(20, 40), { scheduling }))!.sentence).toMatch(advice);
  });

  it("decides nothing: the next exposure is the same with it as without", () => {
    const { phase } = afterClosings(times(25, 40));
    expect(phase).toEqual(afterClosings(times(25, 1)).phase);
  });
});
