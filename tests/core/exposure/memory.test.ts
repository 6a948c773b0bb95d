import { expect, it } from "vitest";
import { curtainsAfter, recentAfter, type RecentLevels } from "../../../core/exposure/memory.ts";
import { monotonicMs } from "../../../core/units.ts";

it("keeps levels in the order of the frames when a reading is overtaken by the next frame's", () => {
  let recent: RecentLevels = [];
  for (const atSeconds of [0, 20, 40, 30, 60])
    recent = recentAfter(recent, { atSeconds, level: 0 });
  expect(recent.map(({ atSeconds }) => atSeconds)).toEqual([0, 20, 30, 40, 60]);
});

it("forgets what is more than 90 s older than the newest", () => {
  let recent: RecentLevels = [];
  for (const atSeconds of [0, 50, 100]) recent = recentAfter(recent, { atSeconds, level: 0 });
  expect(recent.map(({ atSeconds }) => atSeconds)).toEqual([50, 100]);
});

/** Curtains of 8 px/s whose motion then cannot be measured for some frames, one every few seconds. */
function speedAfterUnknown(frames: number, everySeconds: number): number | null {
  const measured = { kind: "measured", degPerSecond: 0.1, pxPerSecond: 8 } as const;
  let curtains = curtainsAfter(null, { motion: measured, openedMs: monotonicMs(0) });
  for (let frame = 1; frame <= frames; frame += 1) {
    const motion = { kind: "unknown", why: "no structure" } as const;
    const openedMs = monotonicMs(frame * everySeconds * 1000);
    curtains = curtainsAfter(curtains, { motion, openedMs });
  }
  return curtains?.pxPerSecond ?? null;
}

it("lets a speed that is not measured any more fade, so that no exposure leaps beside its neighbours", () => {
  const speeds = Array.from({ length: 6 }, (_, frames) => speedAfterUnknown(frames, 10));
  expect(speeds).toEqual([8, 8, 8, 4, 2, 1]);
  // A batch of short frames whose readings come late together is no more than its own seconds.
  expect(speedAfterUnknown(6, 2.5)).toBeCloseTo(4, 6);
  expect(speedAfterUnknown(30, 10)).toBeNull();
});
