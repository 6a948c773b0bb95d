import { spawn } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { buildPageIfStale } from "../controller/pageBuild.ts";
import { NightError, asNightError } from "../core/errors.ts";
import { ensureChromium } from "./support/chromium.ts";
import { runSuite, suiteSentence } from "./support/suite.ts";

/**
 * All tests, the browser's included: finds or brings a Chromium, builds the page, runs vitest, and
 * closes with one plain line of counts. A few files that fail are run again, alone. Words after `npm test --` go to vitest.
 */
async function main(): Promise<void> {
  // Building the page in this process makes its environment that of production, which the tests of
  // the page must not inherit: there a module of Node's has no name.
  const env = { ...process.env };
  const chromium = await ensureChromium();
  await buildPageIfStale();
  const folder = mkdtempSync(join(tmpdir(), "nattvakt-tests-"));
  try {
    const outcome = await runSuite((words) => vitest(words, { ...env, CHROMIUM: chromium }), {
      folder,
      root: process.cwd(),
      words: process.argv.slice(2),
    });
    process.stdout.write(`${suiteSentence(outcome)}\n`);
    process.exitCode = outcome.code;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

function vitest(words: readonly string[], env: Readonly<Record<string, string>>): Promise<number> {
  const child = spawn(process.execPath, ["node_modules/vitest/vitest.mjs", ...words], {
    stdio: "inherit",
    env,
  });
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
