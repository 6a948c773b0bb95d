import { expect, it } from "vitest";
import { recentAfter, type RecentLevels } from "../../../core/exposure/memory.ts";

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
