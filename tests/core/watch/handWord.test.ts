import { describe, expect, it } from "vitest";
import { handWordAfterBreak } from "../../../core/watch/handWordAfter.ts";
import { monotonicMs } from "../../../core/units.ts";
import type { WatchState } from "../../../core/watch/state.ts";
import { anExposure, at, connectedCamera, play, started } from "../../support/watchFixtures.ts";
import { GONE, RUNNING_PHASES, nextMs, watchIn } from "../../support/watchPhases.ts";

const kinds = (effects: readonly { readonly kind: string }[]): string[] =>
  effects.map((effect) => effect.kind);

/** Silence, loss and return of the camera: whatever was in hand, a new frame could be ordered after it. */
function throughSilence(from: WatchState): ReturnType<typeof play> {
  let [state, nowMs] = [from, nextMs(from)];
  const effects = [];
  for (let round = 0; round < 8; round += 1) {
    const asked =
      state.phase.kind === "connecting" ? connectedCamera() : ({ kind: "woke" } as const);
    const step = play([at(nowMs, asked)], state);
    effects.push(...step.effects);
    state = step.state;
    nowMs = Math.max(nowMs + 1, nextMs(state));
  }
  return { state, effects };
}

describe("a hand's word", () => {
  it.each(RUNNING_PHASES)(
    "pause said while %s outlives a silent camera and its return",
    (phase) => {
      const before = watchIn(phase);
      const said = play([at(nextMs(before) - 1, { kind: "paused" })], before).state;
      const { state, effects } = throughSilence(said);
      expect(kinds(effects)).not.toContain("expose");
      expect(state.phase.kind).toBe("paused");
    },
  );

  it.each(RUNNING_PHASES)("stop said while %s outlives a silent camera", (phase) => {
    const before = watchIn(phase);
    const said = play([at(nextMs(before) - 1, { kind: "stopped" })], before).state;
    const { state, effects } = throughSilence(said);
    expect(kinds(effects)).not.toContain("expose");
    expect(["ending", "finished"]).toContain(state.phase.kind);
  });

  it.each(RUNNING_PHASES)("pause said while %s outlives a lost link", (phase) => {
    const before = watchIn(phase);
    const saidMs = nextMs(before) - 2;
    const said = play([at(saidMs, { kind: "paused" }), at(saidMs + 1, GONE)], before).state;
    const { state, effects } = throughSilence(said);
    expect(kinds(effects)).not.toContain("expose");
    expect(state.phase.kind).toBe("paused");
  });

  it("resume said while the camera is gone takes frames when it is back", () => {
    const events = [at(3100, { kind: "paused" } as const), at(3200, { kind: "resumed" } as const)];
    const said = play(events, watchIn("recovering")).state;
    expect(kinds(throughSilence(said).effects)).toContain("expose");
  });

  it("pause with an end of ten minutes goes on by itself then, and not before", () => {
    const untilMs = monotonicMs(603_000);
    const paused = play(
      [
        at(3000, { kind: "paused", untilMs }),
        at(10_200, { kind: "shutterClosed", frameIndex: 0, happened: anExposure() }),
        at(11_200, { kind: "cameraReady" }),
      ],
      watchIn("exposing"),
    );
    expect(paused.effects.at(-1)).toEqual({ kind: "wake", atMs: untilMs });
    expect(kinds(play([at(602_999, { kind: "woke" })], paused.state).effects)).toEqual([]);
    expect(kinds(play([at(603_000, { kind: "woke" })], paused.state).effects)).toContain("expose");
  });

  it("pause whose end came while the camera was away is over when it is back", () => {
    const word = at(3100, { kind: "paused", untilMs: monotonicMs(4000) });
    const said = play([word], watchIn("recovering")).state;
    expect(kinds(throughSilence(said).effects)).toContain("expose");
  });

  it("ends a paused watch at dawn without a frame", () => {
    const dawn = at(20_000, { kind: "placeFound", dawnMs: monotonicMs(30_000) });
    const paused = play([dawn, at(20_001, { kind: "paused" })], watchIn("paused"));
    const { state, effects } = play([at(30_000, { kind: "woke" })], paused.state);
    expect(state.phase).toMatchObject({ kind: "ending", by: "dawn" });
    expect(kinds(effects)).not.toContain("expose");
  });
});

describe("a hand's word over a restart", () => {
  it("finds the pause that was said before, with its end", () => {
    const untilMs = monotonicMs(9000);
    const word = handWordAfterBreak([
      at(0, started()),
      at(1000, { kind: "paused", untilMs }),
      at(5000, { kind: "stopped", isProgramEnding: true }),
    ]);
    expect(word).toEqual({ kind: "pause", sinceMs: 1000, untilMs });
  });

  it("does not take the end of the program for a word on the night", () => {
    const ended = at(5000, { kind: "stopped", isProgramEnding: true });
    expect(handWordAfterBreak([at(0, started()), ended])).toEqual({ kind: "watch" });
  });

  it("connects a paused watch and takes no frame", () => {
    const hand = { kind: "pause", sinceMs: monotonicMs(1000), untilMs: null } as const;
    const order = { ...started({}, 7), hand } as Parameters<typeof at>[1];
    const { state, effects } = play([at(9000, order), at(9100, connectedCamera())]);
    expect(state.phase.kind).toBe("paused");
    expect(kinds(effects)).not.toContain("expose");
  });

  it.each(["dawn", "battery", "frames"] as const)(
    "says that it was ended by %s, where that had ended it when the program was killed",
    (endedBy) => {
      const hand = { kind: "stop", sinceMs: monotonicMs(1000) } as const;
      const again = at(2000, { ...started(), hand, endedBy } as Parameters<typeof at>[1]);
      const closed = at(3000, { kind: "cameraClosed" });
      expect(play([again, closed]).state.phase).toEqual({ kind: "finished", by: endedBy });
    },
  );

  it("does not begin a night again that was stopped by hand when the program was killed", () => {
    const hand = { kind: "stop", sinceMs: monotonicMs(1000) } as const;
    const order = { ...started({}, 7), hand } as Parameters<typeof at>[1];
    const { state, effects } = play([at(9000, order)]);
    expect(state.phase).toMatchObject({ kind: "ending", by: "hand" });
    expect(kinds(effects)).toEqual(["closeCamera"]);
  });
});
