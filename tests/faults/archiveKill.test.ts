import { describe, expect, it } from "vitest";
import { killNight } from "../support/killNight.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";

describe("a night whose process is killed", () => {
  it("has lost, doubled and misplaced nothing after 8 kills at random instants", async () => {
    const outcome = await killNight({
      dataDir: temporaryFolder(),
      kills: 8,
      seed: 20260110,
    });
    expect(outcome.resumeSeconds).toHaveLength(8);
    expect(outcome.framesTaken).toBeGreaterThan(20);
    expect(outcome).toMatchObject({
      lost: 0,
      doubled: 0,
      damaged: 0,
      misplaced: 0,
      integrityProblems: [],
      recognised: true,
    });
  });
});
