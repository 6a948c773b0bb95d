import { describe, expect, it } from "vitest";
import { createRandom } from "../../../core/random.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";
import { liveThrough, randomSchedule, type Outcome } from "./pictureOwners.ts";

/** More seeds are tried with `OWNER_SEEDS=1-500 npm run test:only -- tests/controller/night/pictureOwners.test.ts`. */
const [from = 1, to = 5] = (process.env["OWNER_SEEDS"] ?? "1-5").split("-").map(Number);
const SEEDS = Array.from({ length: to - from + 1 }, (_, index) => from + index);

describe("a picture belongs to the frame that took it, or is kept as a stray", () => {
  it.each(SEEDS)(
    "wherever the program is killed between card and row (seed %i)",
    async (seed) => {
      const schedule = await randomSchedule(createRandom(seed));
      const dataDir = temporaryFolder();
      let killAt = 0;
      for (let outcome: Outcome | null = null; outcome?.wasKilled !== false; killAt += 1) {
        outcome = await liveThrough(schedule, dataDir, killAt);
        const { lost, doubled, misplaced } = outcome;
        const where = `killed at point ${killAt}`;
        expect({ where, lost, doubled, misplaced }).toEqual({
          ...{ where, lost: [], doubled: [], misplaced: [] },
        });
      }
      expect(killAt).toBeGreaterThan(20);
    },
    600_000,
  );
});
