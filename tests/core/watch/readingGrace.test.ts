import { describe, expect, it } from "vitest";
import { withFrames } from "../../../core/watch/knownParts.ts";
import { idleWatch } from "../../../core/watch/idleWatch.ts";
import { readingDueMs, withReadingDelay } from "../../../core/watch/readingGrace.ts";
import type { FrameKnowledge, TakenFrame } from "../../../core/watch/state.ts";
import { DEFAULT_WATCH_SETTINGS } from "../../../core/watch/watchSettings.ts";
import { monotonicMs } from "../../../core/units.ts";

/** Opened at 0 s, closed at 10 s. */
const FRAME: TakenFrame = {
  frameIndex: 0,
  openedMs: monotonicMs(0),
  happened: { exposureSeconds: 10, iso: 800, fNumber: 2.8 },
};

/** The camera is ready at 11 s; readings lately came so long after closing. */
function graceMs(frames: Partial<FrameKnowledge>, graceSeconds = 0.5): number {
  const { known } = idleWatch({ ...DEFAULT_WATCH_SETTINGS, readingGraceSeconds: graceSeconds });
  const watch = withFrames(known, {
    ...known.frames,
    taken: [FRAME],
    lastOpenedMs: monotonicMs(0),
    lastClosedMs: monotonicMs(10_000),
    ...frames,
  });
  return readingDueMs(watch, monotonicMs(11_000)) - 11_000;
}

describe("a camera that is ready 1 s after closing, with 0.5 s of grace", () => {
  it("waits 0.5 s for readings that came after 1.4 s", () => {
    expect(graceMs({ readingDelaysMs: [1400, 1400, 1400] })).toBe(500);
  });

  it("does not wait for readings that came after 1.6 s: the next would not be in time", () => {
    expect(graceMs({ readingDelaysMs: [1600, 1600, 1600] })).toBe(0);
  });

  it("goes by the middle delay, so that one late reading changes nothing", () => {
    expect(graceMs({ readingDelaysMs: [1400, 1400, 9000] })).toBe(500);
    expect(graceMs({ readingDelaysMs: [9000, 9000, 1400] })).toBe(0);
  });

  it("waits before anything is known of the delays", () => {
    expect(graceMs({})).toBe(500);
  });

  it("does not wait when every reading is there", () => {
    expect(graceMs({ taken: [] })).toBe(0);
  });

  it("gives no more than a tenth of a short frame's time", () => {
    expect(graceMs({ lastOpenedMs: monotonicMs(9_500), readingDelaysMs: [1100] })).toBe(150);
  });

  it("waits never with no grace", () => {
    expect(graceMs({ readingDelaysMs: [900] }, 0)).toBe(0);
  });
});

it("keeps the delays of the last five readings", () => {
  const delays = [11, 12, 13, 14, 15, 16].reduce<readonly number[]>(
    (known, seconds) => withReadingDelay(known, FRAME, monotonicMs(seconds * 1000)),
    [],
  );
  expect(delays).toEqual([2000, 3000, 4000, 5000, 6000]);
});
