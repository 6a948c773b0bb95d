import { spawnSync } from "node:child_process";

/**
 * Whether an outside program is there to check against. Without it a check is skipped aloud; in CI,
 * where every one is installed, it fails instead.
 */
export function hasTool(name: string, argument: string): boolean {
  const isThere = spawnSync(name, [argument], { stdio: "ignore" }).error === undefined;
  if (isThere) return true;
  if (process.env.CI) throw new Error(`${name} is not installed, and CI must check against it`);
  process.stderr.write(`SKIPPED: ${name} is not installed; its checks are not made\n`);
  return false;
}

/** Runs an outside program and gives what it prints. @throws Error with what it complained of. */
export function runTool(name: string, args: readonly string[]): string {
  const run = spawnSync(name, args, { encoding: "utf8", maxBuffer: 1 << 26 });
  if (run.status === 0) return run.stdout;
  throw new Error(`${name} ${args.join(" ")} failed: ${run.stderr}`);
}
