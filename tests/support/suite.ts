import { readFileSync } from "node:fs";
import { join, relative } from "node:path";

/** More failed files than this are no accident of a busy machine, and a second run would only hide them. */
const FILES_TO_REPEAT_MAX = 5;

export type SuiteOutcome = {
  readonly code: number;
  readonly passed: number;
  readonly failed: number;
  readonly skipped: number;
  /** Tests that failed beside all others and passed when their file ran alone. */
  readonly passedAlone: readonly string[];
};

type Report = {
  readonly numPassedTests: number;
  readonly numFailedTests: number;
  readonly numPendingTests: number;
  readonly testResults: readonly {
    readonly name: string;
    readonly status: string;
    readonly assertionResults: readonly { readonly fullName: string; readonly status: string }[];
  }[];
};

/**
 * All tests by vitest, and then, alone and one after the other, the few files that failed: a machine
 * that others share can be too slow for a real camera's, browser's or process's deadline once, a
 * fault fails twice. `vitest` runs it with these words and answers with its exit code.
 */
export async function runSuite(
  vitest: (words: readonly string[]) => Promise<number>,
  { folder, root, words }: { folder: string; root: string; words: readonly string[] },
): Promise<SuiteOutcome> {
  const whole = await runOnce(vitest, join(folder, "report.json"), words);
  const counts = {
    passed: whole.report.numPassedTests,
    failed: whole.report.numFailedTests,
    skipped: whole.report.numPendingTests,
  };
  const files = whole.report.testResults.filter(({ status }) => status === "failed");
  if (whole.code === 0 || files.length === 0 || files.length > FILES_TO_REPEAT_MAX) {
    const code = whole.code === 0 && counts.passed === 0 ? 1 : whole.code;
    return { code, ...counts, passedAlone: [] };
  }
  const failed = files.flatMap(({ assertionResults }) =>
    assertionResults.filter(({ status }) => status === "failed").map(({ fullName }) => fullName),
  );
  const paths = files.map(({ name }) => relative(root, name));
  const options = words.filter((word) => word.startsWith("--"));
  const alone = await runOnce(vitest, join(folder, "alone.json"), [
    ...options,
    "--maxWorkers=1",
    ...paths,
  ]);
  const failedAlone = alone.report.numFailedTests;
  const passedAlone = alone.code === 0 ? failed : [];
  return {
    code: alone.code,
    passed: counts.passed + counts.failed - failedAlone,
    failed: failedAlone,
    skipped: counts.skipped,
    passedAlone,
  };
}

/** One line: how many passed, and which passed only alone. */
export function suiteSentence({ passed, failed, skipped, passedAlone }: SuiteOutcome): string {
  const parts = [`${passed} passed, ${failed} failed`];
  if (skipped > 0) parts.push(`${skipped} skipped`);
  if (passedAlone.length > 0) {
    const names = passedAlone.map((name) => `"${name}"`).join(", ");
    parts.push(`${passedAlone.length} of them only when their file ran alone: ${names}`);
  }
  return parts.join(", ");
}

async function runOnce(
  vitest: (words: readonly string[]) => Promise<number>,
  reportFile: string,
  words: readonly string[],
): Promise<{ readonly code: number; readonly report: Report }> {
  const reporters = ["--reporter=default", "--reporter=json", `--outputFile.json=${reportFile}`];
  const code = await vitest(["run", ...reporters, ...words]);
  return { code, report: JSON.parse(readFileSync(reportFile, "utf8")) as Report };
}
