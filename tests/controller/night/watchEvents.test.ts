import { describe, expect, it } from "vitest";
import { WatchEvents } from "../../../controller/night/watchEvents.ts";
import type { WatchEvent } from "../../../core/watch/events.ts";
import { at, type BareEvent } from "../../support/watchFixtures.ts";

function all(events: WatchEvents): readonly WatchEvent[] {
  const taken: WatchEvent[] = [];
  for (let next = events.next(); next; next = events.next()) taken.push(next);
  return taken;
}

describe("events that wait for the watch", () => {
  it("keeps 500 of 2,000 light samples, the newest, and counts the 1,500 that it leaves out", () => {
    const events = new WatchEvents();
    for (let value = 0; value < 2000; value += 1) {
      events.put(at(value, { kind: "lightSampled", value }));
    }
    expect(events.takeLeftOut()).toEqual({ lightSampled: 1500 });
    expect(events.takeLeftOut()).toEqual({});
    expect(all(events).map((event) => event.atMs)).toEqual(
      Array.from({ length: 500 }, (_, index) => 1500 + index),
    );
  });

  it("leaves out no picture, shutter, hand or fault, whatever a sensor says around them", () => {
    const events = new WatchEvents();
    const facts: readonly BareEvent[] = [
      { kind: "shutterOpened", frameIndex: 3 },
      { kind: "frameArrived", frameIndex: 3 },
      { kind: "paused" },
      {
        ...{ kind: "cameraFailed", code: "camera.gone", frameIndex: null, gone: true },
        sentence: "The cable is out.",
      },
    ];
    for (const fact of facts) {
      events.put(at(0, fact));
      for (let value = 0; value < 600; value += 1) {
        events.put(at(1, { kind: "climateRead", temperatureC: -20, humidityPercent: null }));
      }
    }
    const kinds = all(events).map(({ kind }) => kind);
    expect(kinds).toHaveLength(500);
    expect(kinds.filter((kind) => kind !== "climateRead")).toEqual(facts.map(({ kind }) => kind));
  });

  it("keeps 800 facts of frames where no status waits", () => {
    const events = new WatchEvents();
    for (let frameIndex = 0; frameIndex < 800; frameIndex += 1) {
      events.put(at(0, { kind: "frameArrived", frameIndex }));
    }
    expect(events.takeLeftOut()).toEqual({});
    expect(events.count).toBe(800);
  });
});
