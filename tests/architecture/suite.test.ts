import { existsSync, writeFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { LONG_FILES } from "../support/longFiles.ts";
import { runSuite, suiteSentence, type SuiteOutcome } from "../support/suite.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";

const FILE = "/clone/tests/night.test.ts";

describe("a suite whose tests failed once", () => {
  it("passes, and names the test, when its file passes alone", async () => {
    const { outcome, calls } = await suiteOf([FILE], [{ failed: 1 }, { failed: 0 }]);
    expect(outcome).toMatchObject({ code: 0, passed: 10, failed: 0 });
    expect(calls[1]).toEqual(expect.arrayContaining(["--maxWorkers=1", "tests/night.test.ts"]));
    expect(suiteSentence(outcome)).toBe(
      '10 passed, 0 failed, 1 of them only when their file ran alone: "a night ends"',
    );
  });

  it("fails when the file fails alone as well", async () => {
    const { outcome } = await suiteOf([FILE], [{ failed: 1 }, { failed: 1 }]);
    expect(outcome).toMatchObject({ code: 1, passed: 9, failed: 1, passedAlone: [] });
  });

  it("fails at once when many files failed", async () => {
    const files = Array.from({ length: 6 }, (_, index) => `/clone/tests/${index}.test.ts`);
    const { outcome, calls } = await suiteOf(files, [{ failed: 6 }]);
    expect(outcome.code).toBe(1);
    expect(calls).toHaveLength(1);
  });

  it("fails when something threw outside of every test", async () => {
    const { outcome, calls } = await suiteOf([], [{ failed: 0, code: 1 }]);
    expect(outcome.code).toBe(1);
    expect(calls).toHaveLength(1);
  });

  it("fails when no test ran", async () => {
    const { outcome } = await suiteOf([], [{ failed: 0, code: 0, tests: 0 }]);
    expect(outcome.code).toBe(1);
  });
});

describe("the suite's order", () => {
  it("knows long files that are there, the longest first", () => {
    const names = Object.keys(LONG_FILES);
    expect(names.filter((name) => !existsSync(name))).toEqual([]);
    const seconds = Object.values(LONG_FILES);
    expect(seconds).toEqual(seconds.toSorted((a, b) => b - a));
  });
});

type Run = { readonly failed: number; readonly code?: number; readonly tests?: number };

/** A suite of ten tests on a vitest that only writes such reports, one for each of its runs. */
async function suiteOf(
  failedFiles: readonly string[],
  runs: readonly Run[],
): Promise<{ readonly outcome: SuiteOutcome; readonly calls: readonly (readonly string[])[] }> {
  const calls: (readonly string[])[] = [];
  const vitest = (words: readonly string[]): Promise<number> => {
    const { failed, code = failed > 0 ? 1 : 0, tests = 10 } = runs[calls.length]!;
    calls.push(words);
    const report = {
      numPassedTests: tests - failed,
      numFailedTests: failed,
      numPendingTests: 0,
      testResults: failedFiles.map((name) => ({
        name,
        status: failed > 0 ? "failed" : "passed",
        assertionResults: [{ fullName: "a night ends", status: "failed" }],
      })),
    };
    const file = words.find((word) => word.startsWith("--outputFile.json="))!.split("=")[1]!;
    writeFileSync(file, JSON.stringify(report));
    return Promise.resolve(code);
  };
  const place = { folder: temporaryFolder(), root: "/clone", words: [] };
  return { outcome: await runSuite(vitest, place), calls };
}
