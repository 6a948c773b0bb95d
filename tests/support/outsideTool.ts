import { spawnSync } from "node:child_process";

/**
 * Whether an outside tool is there to check with. Where it is missing the tests that need it are
 * skipped aloud; in CI, where every one is installed, that is a failure.
 */
export function hasTool(name: string, whatIsLost: string): boolean {
  if (spawnSync("sh", ["-c", `command -v ${name}`]).status === 0) return true;
  if (process.env["CI"]) throw new Error(`${name} is not installed: ${whatIsLost}`);
  process.stderr.write(`\nSKIPPED: ${name} is not installed: ${whatIsLost}\n`);
  return false;
}

/** Runs an outside program and gives what it prints. @throws Error with what it complained of. */
export function runTool(name: string, args: readonly string[]): string {
  const run = spawnSync(name, args, { encoding: "utf8", maxBuffer: 1 << 26 });
  if (run.status === 0) return run.stdout;
  throw new Error(`${name} ${args.join(" ")} failed: ${run.stderr}`);
}
