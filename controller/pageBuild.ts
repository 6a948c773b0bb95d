import { existsSync, readdirSync, renameSync, rmSync, statSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";

const UI = fileURLToPath(new URL("../ui/", import.meta.url));
/** The page shows types and pure functions of the core, so a change there makes it stale too. */
const CORE = fileURLToPath(new URL("../core/", import.meta.url));
const DIST = "dist";

/**
 * Builds the page when it has not been built, or when a source is newer than what was built. Two
 * that build at once do not meet: each builds aside, and moves the whole page into its place.
 */
export async function buildPageIfStale(): Promise<void> {
  const built = join(UI, DIST, "index.html");
  const builtMs = existsSync(built) ? statSync(built).mtimeMs : 0;
  if (Math.max(newestMs(UI), newestMs(CORE)) <= builtMs) return;
  process.stdout.write("Building the page once; this takes a few seconds.\n");
  const { build } = await import("vite");
  const aside = join(UI, `../node_modules/.page-${process.pid}`);
  await build({
    configFile: join(UI, "vite.config.ts"),
    logLevel: "error",
    build: { outDir: aside, emptyOutDir: true },
  });
  rmSync(join(UI, DIST), { recursive: true, force: true });
  try {
    renameSync(aside, join(UI, DIST));
  } catch (thrown) {
    // Somebody else's page has just been moved there; it is as fresh as ours.
    rmSync(aside, { recursive: true, force: true });
    if (!existsSync(built)) throw thrown;
  }
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
