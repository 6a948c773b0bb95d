import { mkdirSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { runCommand } from "../../controller/commandLine.ts";
import { NightError } from "../../core/errors.ts";
import { fetchNode, NoSuchNode, run } from "./otherNode.ts";
import { STEPS, type Trial } from "./steps.ts";

const ROOT = fileURLToPath(new URL("../../", import.meta.url));

const COMMAND = {
  call: "npm run test:nodes --",
  purpose:
    "Tries the project on other versions of Node, as somebody who has just cloned it: takes each from the package registry, installs with every script blocked, takes frames, is killed, goes on, delivers a film and runs the unit tests. What is not committed is not tried.",
  options: {
    nodes: {
      type: "text",
      value: "MAJOR,…",
      help: "the versions of Node, by their first number",
      default: "24,26",
    },
    tests: {
      type: "text",
      value: "FOLDER,…",
      help: "whose tests are run on each",
      default: "tests/core,tests/controller",
    },
    required: { type: "flag", help: "fail where the registry does not give a Node" },
  },
} as const;

await runCommand(COMMAND, async ({ nodes, tests, required }) => {
  const majors = nodes.split(",").map(Number);
  if (!majors.every((major) => Number.isInteger(major) && major > 0)) {
    throw new NightError("usage.invalid", `--nodes takes numbers with commas, not "${nodes}".`);
  }
  const folder = mkdtempSync(join(tmpdir(), "nattvakt-nodes-"));
  const counts = { passed: 0, failed: 0 };
  try {
    for (const major of majors) {
      try {
        await tryNode(major, { folder, tests: tests.split(",") }, counts);
      } catch (thrown) {
        if (!(thrown instanceof NoSuchNode) || required) throw thrown;
        print(`SKIPPED: ${thrown.message}`);
      }
    }
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
  print(`${counts.passed} passed, ${counts.failed} failed`);
  if (counts.failed > 0) process.exitCode = 1;
});

async function tryNode(
  major: number,
  { folder, tests }: { readonly folder: string; readonly tests: readonly string[] },
  counts: { passed: number; failed: number },
): Promise<void> {
  const node = await fetchNode(major, folder);
  const clone = join(folder, `clone-${major}`);
  const cloned = await run("git", ["clone", "--quiet", ROOT, clone], {
    cwd: folder,
    limitMs: 120_000,
  });
  if (cloned.code !== 0) {
    throw new NightError("usage.invalid", `The project cannot be cloned: ${cloned.printed.trim()}`);
  }
  const dataDir = join(folder, `data-${major}`);
  mkdirSync(dataDir);
  const trial: Trial = { node, clone, dataDir, tests };
  for (const { name, take } of STEPS) {
    const startMs = performance.now();
    const seconds = (): string => `${Math.round((performance.now() - startMs) / 1000)} s`;
    try {
      const { sentence, passed } = await take(trial);
      counts.passed += passed;
      print(`Node ${node.version} ${name}: ${sentence} (${seconds()}).`);
    } catch (thrown) {
      counts.failed += 1;
      const why = thrown instanceof Error ? thrown.message : String(thrown);
      print(`FAILED: Node ${node.version} ${name} (${seconds()}): ${why}`);
      return;
    }
  }
}

function print(line: string): void {
  process.stdout.write(`${line}\n`);
}
