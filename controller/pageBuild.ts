import { existsSync, readdirSync, statSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";

const UI = fileURLToPath(new URL("../ui/", import.meta.url));
/** The page shows types and pure functions of the core, so a change there makes it stale too. */
const CORE = fileURLToPath(new URL("../core/", import.meta.url));
const DIST = "dist";

/** Builds the page when it has not been built, or when a source is newer than what was built. */
export async function buildPageIfStale(): Promise<void> {
  const built = join(UI, DIST, "index.html");
  const builtMs = existsSync(built) ? statSync(built).mtimeMs : 0;
  if (Math.max(newestMs(UI), newestMs(CORE)) <= builtMs) return;
  process.stdout.write("Building the page once; this takes a few seconds.\n");
  const { build } = await import("vite");
  await build({ configFile: join(UI, "vite.config.ts"), logLevel: "error" });
}

function newestMs(folder: string): number {
  return readdirSync(folder, { withFileTypes: true })
    .filter((entry) => entry.name !== DIST)
    .map((entry) => {
      const path = join(folder, entry.name);
      return entry.isDirectory() ? newestMs(path) : statSync(path).mtimeMs;
    })
    .reduce((newest, ms) => Math.max(newest, ms), 0);
}
