import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { killAtPoints } from "../controller/night/pictureOwners.ts";
import type { Campaign } from "./campaign.ts";

/** A night of four frames, killed at every write and wait between card and row, one after another. */
export const OWNERS: Campaign = {
  unit: "schedule",
  countDefault: 100,
  unitsPerCase: 1,
  async runCase(seed) {
    const dataDir = mkdtempSync(join(tmpdir(), "nattvakt-owners-"));
    try {
      const { problems, killCount } = await killAtPoints({ seed, dataDir, from: 0, every: 1 });
      return { problems, sums: { kills: killCount } };
    } finally {
      rmSync(dataDir, { recursive: true, force: true });
    }
  },
};
