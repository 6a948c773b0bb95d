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
    "Tries the project on other versions of Node, as somebody who has just cloned it: takes each from the package registry, installs with every script blocked, takes frames, is killed, goes on, loads every package that has a binary, delivers a film and runs the unit tests or all of them. What is not committed is not tried.",
  options: {
    nodes: {
      type: "text",
      value: "VERSION,…",
      help: "the versions of Node, by their first number or two: 22, 20.19",
      default: "24,26",
    },
    tests: {
      type: "text",
      value: "FOLDER,…",
      help: "whose tests are run on each",
      default: "tests/core,tests/controller",
    },
    whole: {
      type: "flag",
      help: "run the whole suite on each, as `npm test` does, which takes a while",
    },
    required: { type: "flag", help: "fail where the registry does not give a Node" },
  },
} as const;

await runCommand(COMMAND, async ({ nodes, tests, whole, required }) => {
  const versions = nodes.split(",");
  if (!versions.every((version) => /^\d+(\.\d+){0,2}$/.test(version))) {
    throw new NightError("usage.invalid", `--nodes takes versions with commas, not "${nodes}".`);
  }
  const folder = mkdtempSync(join(tmpdir(), "nattvakt-nodes-"));
  const counts = { passed: 0, failed: 0 };
  try {
    for (const version of versions) {
      try {
        await tryNode(version, { folder, tests: whole ? null : tests.split(",") }, counts);
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
  version: string,
  { folder, tests }: { readonly folder: string; readonly tests: Trial["tests"] },
  counts: { passed: number; failed: number },
): Promise<void> {
  const node = await fetchNode(version, folder);
  const clone = join(folder, `clone-${version}`);
  const cloned = await run("git", ["clone", "--quiet", ROOT, clone], {
    cwd: folder,
    limitMs: 120_000,
  });
  if (cloned.code !== 0) {
    throw new NightError("usage.invalid", `The project cannot be cloned: ${cloned.printed.trim()}`);
  }
  const dataDir = join(folder, `data-${version}`);
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
