import fc from "fast-check";
import { expect } from "vitest";
import { repeatCommand } from "./repeatCommand.ts";

/**
 * fast-check, whose every failure ends with the command that repeats it: the seed is drawn for each
 * run, and `SEED` and `SEED_PATH` in the environment put the failing one in its place.
 */
const { SEED, SEED_PATH } = process.env;

fc.configureGlobal({
  ...(SEED !== undefined && { seed: Number(SEED) }),
  ...(SEED_PATH !== undefined && { path: SEED_PATH }),
  reporter: (details) => {
    if (!details.failed) return;
    const { testPath, currentTestName } = expect.getState();
    const command = repeatCommand(
      { file: testPath ?? "", name: currentTestName ?? "" },
      { seed: details.seed, path: details.counterexamplePath },
    );
    throw new Error(`${fc.defaultReportMessage(details)}\n\nRepeat it: ${command}`, {
      cause: details.errorInstance,
    });
  },
});

export default fc;
