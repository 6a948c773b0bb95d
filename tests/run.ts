import { spawn } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { buildPageIfStale } from "../controller/pageBuild.ts";
import { NightError, asNightError } from "../core/errors.ts";
import { ensureChromium } from "./support/chromium.ts";

/**
 * All tests, the browser's included: finds or brings a Chromium, builds the page, runs vitest, and
 * closes with one plain line of counts. Words after `npm test --` go to vitest.
 */
async function main(): Promise<void> {
  const chromium = await ensureChromium();
  await buildPageIfStale();
  const folder = mkdtempSync(join(tmpdir(), "nattvakt-tests-"));
  const report = join(folder, "report.json");
  try {
    const code = await vitest(report, { CHROMIUM: chromium });
    const { numPassedTests, numFailedTests, numPendingTests } = JSON.parse(
      readFileSync(report, "utf8"),
    ) as { numPassedTests: number; numFailedTests: number; numPendingTests: number };
    const skipped = numPendingTests > 0 ? `, ${numPendingTests} skipped` : "";
    process.stdout.write(`${numPassedTests} passed, ${numFailedTests} failed${skipped}\n`);
    process.exitCode = code === 0 && numPassedTests === 0 ? 1 : code;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

function vitest(report: string, env: Readonly<Record<string, string>>): Promise<number> {
  const args = ["run", "--reporter=default", "--reporter=json", `--outputFile.json=${report}`];
  const child = spawn(
    process.execPath,
    ["node_modules/vitest/vitest.mjs", ...args, ...process.argv.slice(2)],
    { stdio: "inherit", env: { ...process.env, ...env } },
  );
  return new Promise((resolve, reject) => {
    child.once("error", reject);
    child.once("exit", (code) => resolve(code ?? 1));
  });
}

try {
  await main();
} catch (thrown) {
  const error = asNightError(thrown);
  process.stderr.write(`error: ${error.message}\n`);
  process.exitCode = thrown instanceof NightError && error.recovery === "usage" ? 2 : 1;
}
