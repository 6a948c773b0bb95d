import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { killNight } from "../support/killNight.ts";
import type { Campaign } from "./campaign.ts";

/** A night whose process is killed again and again, at random moments of its first seven frames. */
export const KILLS: Campaign = {
  unit: "kill",
  countDefault: 500,
  unitsPerCase: 50,
  async runCase(seed, kills) {
    const dataDir = mkdtempSync(join(tmpdir(), "nattvakt-kills-"));
    try {
      const outcome = await killNight({ dataDir, kills, seed });
      const problems: string[] = [];
      const { lost, doubled, damaged, misplaced, integrityProblems, recognised } = outcome;
      if (lost > 0) problems.push(`${lost} frames were lost.`);
      if (doubled > 0) problems.push(`${doubled} frames were kept twice.`);
      if (damaged > 0) problems.push(`${damaged} frames are not what the camera took.`);
      if (misplaced > 0)
        problems.push(`${misplaced} pictures are on another frame than their own.`);
      if (!recognised) problems.push("The night was not recognised as unfinished.");
      problems.push(...integrityProblems.map((one) => `The catalogue is damaged: ${one}.`));
      return { problems, sums: { "frames taken": outcome.framesTaken } };
    } finally {
      rmSync(dataDir, { recursive: true, force: true });
    }
  },
};
