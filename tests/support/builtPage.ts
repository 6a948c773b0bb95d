import { cpSync, mkdtempSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";

import { buildPageIfStale } from "../../controller/pageBuild.ts";

/**
 * A copy of the built page of one's own: another test that finds the page stale and builds it again
 * does not change it under one's feet.
 *
 * @returns Its folder; the caller removes it.
 */
export async function copyOfBuiltPage(): Promise<string> {
  await buildPageIfStale();
  const copy = mkdtempSync(join(tmpdir(), "nattvakt-ui-"));
  cpSync(fileURLToPath(new URL("../../ui/dist/", import.meta.url)), copy, { recursive: true });
  return copy;
}
