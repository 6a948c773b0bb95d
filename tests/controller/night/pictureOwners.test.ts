import { describe, expect, it } from "vitest";
import { temporaryFolder } from "../../support/temporaryFolder.ts";
import { killAtPoints } from "./pictureOwners.ts";

const EVERY = 3;

/** `npm run campaign -- owners --count N --seed S` kills at every point, on as many seeds as it is given. */
describe("a picture belongs to the frame that took it, or is kept as a stray", () => {
  it.each([1, 2, 3, 4, 5])(
    "wherever the program is killed between card and row: every third point (seed %i)",
    async (seed) => {
      const points = { from: seed % EVERY, every: EVERY };
      const { problems, killCount } = await killAtPoints({
        ...{ seed, dataDir: temporaryFolder() },
        ...points,
      });
      expect(problems).toEqual([]);
      expect(killCount).toBeGreaterThan(6);
    },
    600_000,
  );
});
