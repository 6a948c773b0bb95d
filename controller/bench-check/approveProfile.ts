import { existsSync } from "node:fs";
import { join } from "node:path";
import { NightError } from "../../core/errors.ts";
import { writeDurablySync } from "../durableWrite.ts";
import { APPROVALS_FILE, readApprovals, sumOf } from "../profiles/approvals.ts";
import { OWN_FOLDER } from "../profiles/readProfiles.ts";

/**
 * Approves a profile of the user's own, as its file is now, for this machine.
 *
 * @throws NightError `usage.invalid` when there is none of this name.
 */
export function approveProfile(dataDir: string, id: string): void {
  const ownDir = join(dataDir, OWN_FOLDER);
  const file = join(ownDir, "cameras", `${id}.json`);
  if (!/^[a-z0-9-]+$/.test(id) || !existsSync(file)) {
    throw new NightError(
      "usage.invalid",
      `--approve must name a profile in ${join(ownDir, "cameras")}, without its ending .json`,
    );
  }
  const approvals = { ...readApprovals(ownDir), [id]: sumOf(file) };
  writeDurablySync(join(ownDir, APPROVALS_FILE), `${JSON.stringify(approvals, null, 2)}\n`);
}
