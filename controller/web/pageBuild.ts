import { existsSync, readdirSync, statSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";

const UI = fileURLToPath(new URL("../../ui/", import.meta.url));

/** Folder of the built page. */
export const PAGE_DIR = join(UI, "dist");

/**
 * Builds the page when it has never been built or its sources are newer, so that a fresh clone
 * shows it with one command. A page that was delivered built, without its sources, is left alone.
 *
 * @returns The folder of the built page.
 */
export async function ensurePageBuilt(): Promise<string> {
  const page = join(PAGE_DIR, "index.html");
  const config = join(UI, "vite.config.ts");
  const isFresh = existsSync(page) && statSync(page).mtimeMs >= newestSourceMs();
  if (!isFresh && existsSync(config)) {
    // Loaded only when needed: the bundler is large, and the night does not use it.
    const { build } = await import("vite");
    await build({ configFile: config, logLevel: "error" });
  }
  return PAGE_DIR;
}

/** The page takes types and pure functions from the core, so its sources count as well. */
function newestSourceMs(): number {
  const core = fileURLToPath(new URL("../../core/", import.meta.url));
  return Math.max(newestIn(UI), newestIn(core));
}

function newestIn(folder: string): number {
  let newestMs = 0;
  for (const entry of readdirSync(folder, { withFileTypes: true, recursive: true })) {
    const path = join(entry.parentPath, entry.name);
    if (!entry.isFile() || path.startsWith(PAGE_DIR)) continue;
    newestMs = Math.max(newestMs, statSync(path).mtimeMs);
  }
  return newestMs;
}
