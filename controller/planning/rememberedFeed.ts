import { mkdirSync, readFileSync, rmSync } from "node:fs";
import { join } from "node:path";
import { writeDurablySync } from "../durableWrite.ts";

const FILE = "kpFeed.json";

/** The Kp feed that the user once named; `null`: none, or a file that cannot be read as one. */
export function rememberedFeed(dataFolder: string): string | null {
  try {
    const kept = JSON.parse(readFileSync(join(dataFolder, FILE), "utf8")) as { url?: unknown };
    return typeof kept.url === "string" && /^https?:/.test(kept.url) ? kept.url : null;
  } catch {
    // Nothing remembered is the ordinary case, and a feed is only a convenience.
    return null;
  }
}

/** Remembers a feed's address; `null` forgets it. */
export function rememberFeed(dataFolder: string, url: string | null): void {
  const path = join(dataFolder, FILE);
  if (url === null) return rmSync(path, { force: true });
  mkdirSync(dataFolder, { recursive: true });
  writeDurablySync(path, `${JSON.stringify({ url })}\n`);
}
