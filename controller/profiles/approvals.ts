import { createHash } from "node:crypto";
import { existsSync, readFileSync } from "node:fs";
import { join } from "node:path";
import * as v from "valibot";
import type { CameraProfile } from "../../core/profiles/cameraProfile.ts";
import { isMakersOwn, operationsIn } from "../../core/profiles/harmlessOperations.ts";
import { invalid } from "../../core/profiles/parse.ts";

/** Beside the profiles of a user's own: the id of each approved one with the sum of its bytes. */
export const APPROVALS_FILE = "approved.json";

const approvalsSchema = v.record(v.string(), v.string());
type Approvals = v.InferOutput<typeof approvalsSchema>;

/** @param ownDir  The folder of a user's own profiles. A file that is damaged approves nothing. */
export function readApprovals(ownDir: string): Approvals {
  const file = join(ownDir, APPROVALS_FILE);
  if (!existsSync(file)) return {};
  try {
    return v.parse(approvalsSchema, JSON.parse(readFileSync(file, "utf8")));
  } catch {
    // What cannot be read is no approval: the profile is refused with the way to approve it.
    return {};
  }
}

export function sumOf(file: string): string {
  return createHash("sha256").update(readFileSync(file)).digest("hex");
}

/**
 * A maker's own operations do what only the maker knows. They run from the profiles that come with
 * the program, and from those that were approved on this machine, byte for byte as they are.
 *
 * @throws NightError `profile.invalid`.
 */
export function checkApproved(
  { id, ...profile }: CameraProfile,
  { file, approvals }: { readonly file: string; readonly approvals: Approvals },
): void {
  const own = operationsIn(profile).filter(({ operation }) => isMakersOwn(operation));
  const [first] = own;
  if (!first || approvals[id] === sumOf(file)) return;
  const codes = [...new Set(own.map(({ operation }) => `0x${operation.toString(16)}`))].join(", ");
  throw invalid(
    file,
    first.pointer,
    `it has a camera do what only its maker knows (${codes}) and is not approved on this machine; if you trust where it comes from, run the bench check with --approve ${id}, else take the file away`,
  );
}
