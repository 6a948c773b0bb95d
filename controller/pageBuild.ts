import { existsSync, readdirSync, renameSync, rmSync, statSync } from "node:fs";
import { join } from "node:path";
import { IS_COMPILED, OWN_DIR } from "./ownFiles.ts";

const UI = join(OWN_DIR, "ui");
/** The page shows types and pure functions of the core, so a change there makes it stale too. */
const CORE = join(OWN_DIR, "core");
const DIST = "dist";
const BUILT = join(UI, DIST, "index.html");
/** Where it is built before it is moved into its place, one folder a process. */
const ASIDE = join(OWN_DIR, `node_modules/.page-${process.pid}`);

/** Whether the page has not been built, or a source is newer than what was built. */
export function isPageStale(): boolean {
  // An installed package brings its page, and nothing to build another with.
  if (IS_COMPILED) return false;
  const builtMs = existsSync(BUILT) ? statSync(BUILT).mtimeMs : 0;
  return Math.max(newestMs(UI), newestMs(CORE)) > builtMs;
}

/** Builds the page here and now, for callers that can do nothing without it. */
export async function buildPageIfStale(): Promise<void> {
  if (!isPageStale()) return;
  process.stdout.write("Building the page once; this takes a few seconds.\n");
  await buildPage();
}

/**
 * Builds the page. Two that build at once do not meet: each builds aside, and moves the whole page
 * into its place.
 */
export async function buildPage(): Promise<void> {
  const { build } = await import("vite");
  await build({
    configFile: join(UI, "vite.config.ts"),
    logLevel: "error",
    build: { outDir: ASIDE, emptyOutDir: true },
  });
  rmSync(join(UI, DIST), { recursive: true, force: true });
  try {
    renameSync(ASIDE, join(UI, DIST));
  } catch (thrown) {
    // Somebody else's page has just been moved there; it is as fresh as ours.
    dropHalfBuiltPage();
    if (!existsSync(BUILT)) throw thrown;
  }
}

/** Leaves nothing behind of a build that is given up. */
export function dropHalfBuiltPage(): void {
  rmSync(ASIDE, { recursive: true, force: true });
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
