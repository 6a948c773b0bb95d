import fc from "../../support/properties.ts";
import { describe, expect, it } from "vitest";
import type { WatchEvent } from "../../../core/watch/events.ts";
import { idleWatch } from "../../../core/watch/idleWatch.ts";
import { reduceWatch } from "../../../core/watch/reduce.ts";
import { TONE_CURVE_UNSURE } from "../../../core/photometry/reading.ts";
import { monotonicMs } from "../../../core/units.ts";
import {
  aReading,
  anExposure,
  at,
  connectedCamera,
  exposing,
  play,
  started,
  type BareEvent,
} from "../../support/watchFixtures.ts";

const kinds = (effects: readonly { readonly kind: string }[]): string[] =>
  effects.map((effect) => effect.kind);

describe("the watch", () => {
  it("connects, asks for the status and orders the first frame at once", () => {
    const { state, effects } = play([at(0, started()), at(100, connectedCamera())]);
    expect(kinds(effects)).toEqual(["connectCamera", "wake", "readStatus", "expose", "wake"]);
    expect(state.phase.kind).toBe("ordered");
  });

  it("orders the next frame the moment the camera is ready when no interval is set", () => {
    const { effects } = play(
      [
        at(10_200, { kind: "shutterClosed", frameIndex: 0, happened: anExposure() }),
        at(11_200, { kind: "cameraReady" }),
      ],
      exposing(),
    );
    const order = effects.find((effect) => effect.kind === "expose");
    expect(order).toMatchObject({ frameIndex: 1, openAtMs: 11_200 });
  });

  it("waits for the interval of 30 s, counted from one opening to the next", () => {
    const base = exposing({
      exposure: { ...idleWatch().known.settings.exposure, intervalSeconds: 30 },
    });
    const { state, effects } = play(
      [
        at(10_200, { kind: "shutterClosed", frameIndex: 0, happened: anExposure() }),
        at(11_200, { kind: "cameraReady" }),
      ],
      base,
    );
    expect(state.phase).toMatchObject({ kind: "between", notBeforeMs: 30_200 });
    expect(effects.at(-1)).toMatchObject({ kind: "wake", atMs: 30_200 });
    expect(kinds(play([at(30_200, { kind: "woke" })], state).effects)).toContain("expose");
  });

  it("closes the open shutter when stopped, keeps that frame and only then releases the camera", () => {
    const stopped = play([at(3000, { kind: "stopped" })], exposing());
    expect(stopped.effects[0]).toEqual({ kind: "closeShutter", frameIndex: 0 });
    const end = play(
      [
        at(3050, {
          kind: "shutterClosed",
          frameIndex: 0,
          happened: anExposure({ exposureSeconds: 2.85 }),
        }),
        at(4000, { kind: "cameraReady" }),
        at(4100, { kind: "frameArrived", frameIndex: 0 }),
        at(4200, { kind: "readingArrived", frameIndex: 0, reading: aReading() }),
      ],
      stopped.state,
    );
    expect(kinds(end.effects)).not.toContain("closeCamera");
    const kept = play([at(4300, { kind: "frameKept", frameIndex: 0 })], end.state);
    expect(kinds(kept.effects)).toEqual(["closeCamera"]);
    const finished = play([at(4400, { kind: "cameraClosed" })], kept.state);
    expect(finished.state.phase).toEqual({ kind: "finished", by: "hand" });
  });

  it("lets the open frame finish when paused and goes on when resumed", () => {
    const paused = play(
      [
        at(3000, { kind: "paused" }),
        at(10_200, { kind: "shutterClosed", frameIndex: 0, happened: anExposure() }),
        at(11_200, { kind: "cameraReady" }),
      ],
      exposing(),
    );
    expect(paused.state.phase.kind).toBe("paused");
    expect(kinds(paused.effects)).not.toContain("closeShutter");
    const resumed = play([at(60_000, { kind: "resumed" })], paused.state);
    expect(kinds(resumed.effects)).toContain("expose");
  });

  it("closes the shutter itself when an exposure is 20 s overdue, and reconnects when even that is not answered", () => {
    const overdue = play([at(36_000, { kind: "woke" })], exposing());
    expect(kinds(overdue.effects)).toEqual(["closeShutter", "wake"]);
    const silent = play([at(57_000, { kind: "woke" })], overdue.state);
    expect(silent.state.phase.kind).toBe("recovering");
    expect(kinds(silent.effects)).toEqual(["markMissing", "wake"]);
    expect(silent.state.known.guards[0]?.guard).toBe("camera");
    const again = play([at(57_600, { kind: "woke" })], silent.state);
    expect(kinds(again.effects)).toEqual(["connectCamera", "wake"]);
  });

  it("reconciles the card after a reconnection and never uses a frame's index twice", () => {
    const lost = play(
      [
        at(3000, {
          kind: "cameraFailed",
          code: "camera.gone",
          sentence: "The link is gone.",
          frameIndex: 0,
          gone: true,
        }),
        at(3600, { kind: "woke" }),
        at(3700, connectedCamera()),
      ],
      exposing(),
    );
    expect(kinds(lost.effects)).toContain("reconcileCard");
    expect(lost.effects.find((effect) => effect.kind === "expose")).toMatchObject({
      frameIndex: 1,
    });
    expect(lost.state.known.gaps).toEqual([
      { startMs: 3000, endMs: null, why: "The link is gone." },
    ]);
    const open = play([at(3800, { kind: "shutterOpened", frameIndex: 1 })], lost.state);
    expect(open.state.known.gaps[0]?.endMs).toBe(3800);
  });

  it("remembers after a break what came before it, and ends the gap when a shutter opens again", () => {
    const surge = { startMs: monotonicMs(0), endMs: monotonicMs(9000), riseStops: 2 };
    const gap = { startMs: monotonicMs(20_000), endMs: null, why: "no watch was running" };
    const resumed = play([
      at(60_000, { ...started({}, 7), earlier: { surges: [surge], gaps: [gap] } } as BareEvent),
      at(60_100, connectedCamera()),
      at(61_000, { kind: "shutterOpened", frameIndex: 7 }),
    ]);
    expect(resumed.state.known.sky.surges).toEqual([surge]);
    expect(resumed.state.known.gaps).toEqual([{ ...gap, endMs: 61_000 }]);
  });

  it("looks again after 10 s at a camera that is not in manual", () => {
    const { state, effects } = play([
      at(0, started()),
      at(100, connectedCamera({ program: "other" })),
    ]);
    expect(kinds(effects)).not.toContain("expose");
    expect(state.known.guards[0]?.sentence).toMatch(/not in manual/);
    const again = play([at(10_100, { kind: "woke" }), at(10_200, connectedCamera())], state);
    expect(kinds(again.effects)).toContain("expose");
    expect(again.state.known.guards).toEqual([]);
  });

  it.each([
    ["time", { untilMs: monotonicMs(11_000) }, {}],
    ["dawn", { dawnMs: monotonicMs(11_000) }, {}],
    ["frames", { frameCountMax: 1 }, {}],
    ["battery", {}, { batteryPercent: 3 }],
    ["card", {}, { freeFrames: 1 }],
  ] as const)("ends by %s after the frame in hand", (by, settings, status) => {
    const { state } = play(
      [
        at(500, {
          kind: "statusRead",
          batteryPercent: null,
          freeBytes: null,
          freeFrames: null,
          ...status,
        }),
        at(10_200, { kind: "shutterClosed", frameIndex: 0, happened: anExposure() }),
        at(11_200, { kind: "cameraReady" }),
      ],
      exposing(settings),
    );
    expect(state.phase).toMatchObject({ kind: "ending", by });
  });

  it("waits 100 s at the end for the last frame's file and reading, and no longer", () => {
    const ending = play(
      [
        at(10_200, { kind: "shutterClosed", frameIndex: 0, happened: anExposure() }),
        at(11_200, { kind: "cameraReady" }),
      ],
      exposing({ frameCountMax: 1 }),
    ).state;
    expect(kinds(play([at(111_199, { kind: "woke" })], ending).effects)).toEqual([]);
    expect(kinds(play([at(111_200, { kind: "woke" })], ending).effects)).toEqual(["closeCamera"]);
    const arrived = play([at(100_000, { kind: "frameArrived", frameIndex: 0 })], ending);
    const kept = play([at(100_100, { kind: "frameKept", frameIndex: 0 })], arrived.state);
    expect(kinds(kept.effects)).toEqual([]);
    const read = at(100_200, { kind: "readingArrived", frameIndex: 0, reading: aReading() });
    expect(kinds(play([read], kept.state).effects)).toEqual(["closeCamera"]);
  });

  it("ends by the dawn of a place that became known while a frame was exposed", () => {
    const { state } = play(
      [
        at(3000, { kind: "placeFound", dawnMs: monotonicMs(11_000) }),
        at(10_200, { kind: "shutterClosed", frameIndex: 0, happened: anExposure() }),
        at(11_200, { kind: "cameraReady" }),
      ],
      exposing(),
    );
    expect(state.phase).toMatchObject({ kind: "ending", by: "dawn" });
  });

  it("takes a change of the target at the next frame", () => {
    const { effects } = play(
      [
        at(3000, { kind: "settingsChanged", exposure: { targetStops: -1 } }),
        at(10_200, { kind: "shutterClosed", frameIndex: 0, happened: anExposure() }),
        at(11_200, { kind: "cameraReady" }),
      ],
      exposing(),
    );
    expect(effects.find((effect) => effect.kind === "expose")).toMatchObject({ targetStops: -1 });
  });

  describe("with 0.3 s of grace for the newest reading", () => {
    const ready = () =>
      play(
        [
          at(10_200, { kind: "shutterClosed", frameIndex: 0, happened: anExposure() }),
          at(11_200, { kind: "cameraReady" }),
        ],
        exposing({ readingGraceSeconds: 0.3 }),
      );

    it("goes on the moment the reading comes", () => {
      const { state, effects } = ready();
      expect(kinds(effects)).not.toContain("expose");
      const read = play(
        [at(11_290, { kind: "readingArrived", frameIndex: 0, reading: aReading() })],
        state,
      );
      expect(read.effects.find((effect) => effect.kind === "expose")).toMatchObject({
        openAtMs: 11_290,
      });
    });

    it("goes on without it after 0.3 s", () => {
      const { effects } = play([at(11_500, { kind: "woke" })], ready().state);
      expect(effects.find((effect) => effect.kind === "expose")).toMatchObject({
        openAtMs: 11_500,
      });
    });

    it("does not wait when the reading is there already", () => {
      const { effects } = play(
        [
          at(10_200, { kind: "shutterClosed", frameIndex: 0, happened: anExposure() }),
          at(11_000, { kind: "readingArrived", frameIndex: 0, reading: aReading() }),
          at(11_200, { kind: "cameraReady" }),
        ],
        exposing({ readingGraceSeconds: 0.3 }),
      );
      expect(effects.find((effect) => effect.kind === "expose")).toMatchObject({
        openAtMs: 11_200,
      });
    });
  });

  /** Exposures ordered for the first frames, read at once with these remarks. */
  function ordersOf(frameCount: number, remarks: readonly string[]) {
    let state = exposing({ probeCountMax: 6 });
    const probes: number[] = [];
    for (let index = 0, nowMs = 200; index < frameCount; index += 1) {
      nowMs += 16_000;
      const step = play(
        [
          at(nowMs, { kind: "shutterClosed", frameIndex: index, happened: anExposure() }),
          at(nowMs + 800, {
            kind: "readingArrived",
            frameIndex: index,
            reading: aReading({ remarks }),
          }),
          at(nowMs + 1000, { kind: "cameraReady" }),
          at(nowMs + 1000, { kind: "shutterOpened", frameIndex: index + 1 }),
        ],
        state,
      );
      const order = step.effects.find((effect) => effect.kind === "expose");
      if (order) {
        probes.push(order.probeStops);
        // What a probe was asked for is what the catalogue writes down.
        expect(order.targetStops).toBeCloseTo(-2 + order.probeStops, 12);
      }
      state = step.state;
    }
    return probes;
  }

  it("varies six frames from the fourth on to learn a tone curve not yet known, both ways", () => {
    const probes = ordersOf(12, [TONE_CURVE_UNSURE]);
    expect(probes.slice(0, 2)).toEqual([0, 0]);
    const varied = probes.filter((stops) => stops !== 0);
    expect(varied).toHaveLength(6);
    expect(Math.min(...varied)).toBe(-0.3);
    expect(Math.max(...varied)).toBe(0.3);
    expect(probes.at(-1)).toBe(0);
  });

  it("varies none once the meter is sure of the curve", () => {
    expect(ordersOf(8, []).every((stops) => stops === 0)).toBe(true);
  });

  it("varies none for a camera whose curve an earlier night has taught", () => {
    const { state } = play([
      at(0, started({ probeCountMax: 6 })),
      at(100, connectedCamera({ isToneCurveKnown: true })),
    ]);
    expect(state.known.sky.probesLeft).toBe(0);
  });

  it("says why an event changed nothing", () => {
    const step = reduceWatch(idleWatch(), at(0, { kind: "paused" }));
    expect(step.effects).toEqual([]);
    expect(step.state.ignored).toBe("no watch has begun");
  });
});

describe("the watch under any order of events", () => {
  const frameIndex = fc.integer({ min: 0, max: 3 });
  const bare: fc.Arbitrary<BareEvent> = fc.oneof(
    fc.constant<BareEvent>(started({ sentinelIntervalSeconds: 60 })),
    fc.constant<BareEvent>({ kind: "paused" }),
    fc.constant<BareEvent>({ kind: "resumed" }),
    fc.constant<BareEvent>({ kind: "stopped" }),
    fc.constant<BareEvent>({ kind: "cameraReady" }),
    fc.constant<BareEvent>({ kind: "cameraClosed" }),
    fc.constant<BareEvent>(connectedCamera()),
    frameIndex.map((index): BareEvent => ({ kind: "shutterOpened", frameIndex: index })),
    frameIndex.map((index): BareEvent => ({
      kind: "shutterClosed",
      frameIndex: index,
      happened: anExposure(),
    })),
    frameIndex.map((index): BareEvent => ({ kind: "frameArrived", frameIndex: index })),
    frameIndex.map((index): BareEvent => ({ kind: "frameKept", frameIndex: index })),
    frameIndex.map((index): BareEvent => ({
      kind: "frameMissing",
      frameIndex: index,
      why: "lost",
    })),
    fc
      .tuple(frameIndex, fc.double({ min: -6, max: 3, noNaN: true }))
      .map(([index, skyStops]): BareEvent => ({
        kind: "readingArrived",
        frameIndex: index,
        reading: aReading({ skyStops }),
      })),
    fc.boolean().map((gone): BareEvent => ({
      kind: "cameraFailed",
      code: gone ? "camera.gone" : "camera.busy",
      sentence: "It failed.",
      frameIndex: null,
      gone,
    })),
    fc.integer({ min: 0, max: 100 }).map((percent): BareEvent => ({
      kind: "statusRead",
      batteryPercent: percent,
      freeBytes: null,
      freeFrames: percent,
    })),
    fc.double({ min: 0, max: 5, noNaN: true }).map((value): BareEvent => ({
      kind: "lightSampled",
      value,
    })),
  );
  const nights = fc.array(fc.tuple(fc.integer({ min: 1, max: 40_000 }), bare), { maxLength: 80 });

  it("always has a wake in hand that closes a shutter that may be open", () => {
    fc.assert(
      fc.property(nights, (steps) => {
        let state = idleWatch();
        let nowMs = 0;
        let wakeMs: number | null = null;
        let mayBeOpen = false;
        for (const [waitMs, event] of steps) {
          nowMs += waitMs;
          // A wake that is due comes before anything later.
          const events: WatchEvent[] = [];
          if (wakeMs !== null && wakeMs <= nowMs) events.push(at(wakeMs, { kind: "woke" }));
          events.push(at(nowMs, event));
          for (const one of events) {
            if (one.kind === "woke") wakeMs = null;
            const step = reduceWatch(state, one);
            state = step.state;
            for (const effect of step.effects) {
              if (effect.kind === "wake") wakeMs = effect.atMs;
              if (effect.kind === "expose") mayBeOpen = true;
              // Reconnecting, and closing the camera, release whatever is held.
              if (effect.kind === "connectCamera" || effect.kind === "closeCamera") {
                mayBeOpen = false;
              }
            }
            if (one.kind === "shutterClosed" || one.kind === "cameraFailed") mayBeOpen = false;
            const holds = ["ordered", "exposing", "closing"].includes(state.phase.kind);
            if (holds) {
              const deadlineMs = (state.phase as { deadlineMs: number }).deadlineMs;
              expect(wakeMs).toBe(deadlineMs);
            }
            if (mayBeOpen && !holds) {
              expect(["recovering", "ending", "paused"]).toContain(state.phase.kind);
            }
          }
        }
      }),
      { numRuns: 400 },
    );
  });

  it("never asks for two frames at once and numbers them without repeats", () => {
    fc.assert(
      fc.property(nights, (steps) => {
        let nowMs = 0;
        const events = steps.map(([waitMs, event]) => at((nowMs += waitMs), event));
        let state = idleWatch();
        let seen = new Set<number>();
        for (const event of events) {
          const step = reduceWatch(state, event);
          const begins =
            event.kind === "started" && step.state !== state && step.effects.length > 0;
          if (begins) seen = new Set();
          const orders = step.effects.filter((effect) => effect.kind === "expose");
          expect(orders.length).toBeLessThanOrEqual(1);
          for (const order of orders) {
            expect(seen.has(order.frameIndex)).toBe(false);
            seen.add(order.frameIndex);
            expect(["ordered"]).toContain(step.state.phase.kind);
          }
          state = step.state;
        }
      }),
      { numRuns: 300 },
    );
  });

  it("gives the same decisions again for the same events", () => {
    fc.assert(
      fc.property(nights, (steps) => {
        let nowMs = 0;
        const events = steps.map(([waitMs, event]) => at((nowMs += waitMs), event));
        expect(play(events)).toEqual(play(events));
      }),
      { numRuns: 60 },
    );
  });
});

describe("a camera whose ISO cannot be set from here", () => {
  it("is governed by time alone at ISO 1600, whatever ISO is allowed, and the photographer is asked to set it", () => {
    const { state, effects } = play([
      at(
        0,
        started({ exposure: { ...idleWatch().known.settings.exposure, isoMin: 100, isoMax: 800 } }),
      ),
      at(100, connectedCamera({ fixedIso: 1600 })),
    ]);
    const order = effects.find((effect) => effect.kind === "expose");
    expect(order?.exposure.iso).toBe(1600);
    expect(state.known.guards).toMatchObject([
      { guard: "camera", level: "note", sentence: expect.stringContaining("ISO 1600") as string },
    ]);
  });

  it("does not connect again after a pause only because of that note", () => {
    const connected = play([at(0, started()), at(100, connectedCamera({ fixedIso: 1600 }))]);
    const paused = { ...connected.state, phase: { kind: "paused" } as const };
    expect(kinds(play([at(9000, { kind: "resumed" })], paused).effects)).not.toContain(
      "connectCamera",
    );
  });
});
