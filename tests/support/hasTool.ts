import { spawnSync } from "node:child_process";

/**
 * Whether an outside tool is there to check with. Where it is missing the tests that need it are
 * skipped aloud; in CI that is a failure.
 */
export function hasTool(name: string, whatIsLost: string): boolean {
  if (spawnSync("sh", ["-c", `command -v ${name}`]).status === 0) return true;
  if (process.env["CI"]) throw new Error(`${name} is not installed: ${whatIsLost}`);
  process.stderr.write(`\nSKIPPED: ${name} is not installed: ${whatIsLost}\n`);
  return false;
}
