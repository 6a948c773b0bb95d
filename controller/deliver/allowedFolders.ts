import { existsSync, lstatSync, readdirSync, realpathSync } from "node:fs";
import { dirname, join, relative, resolve, sep } from "node:path";
import { NightError } from "../../core/errors.ts";

/** Levels below a folder of a night: `originals/CAMERA/FOLDER` is three. A tree that is deeper is not ours. */
const DEPTH_MAX = 8;

/**
 * Holds what is written at a page's request to the folders that the photographer allowed: anyone who
 * reaches the page must not reach the rest of the disk by it, nor by a link that leads out.
 *
 * What stands at the moment of asking is looked at. An account that may plant a link there later
 * may write in these folders already.
 *
 * @param path  Where is to be written; it and all that lies in it already are looked through.
 * @param folders  Whole paths; links that they are made of themselves are followed.
 * @throws NightError `settings.invalid` with one sentence.
 */
export function holdWithin(path: string, folders: readonly string[]): void {
  const allowed = folders.map(realPathOf);
  const isAllowed = (real: string): boolean => allowed.some((folder) => isWithin(folder, real));
  if (!isAllowed(realPathOf(path))) {
    throw new NightError(
      "settings.invalid",
      "The page may write into the data folder, and into a folder that --export-to names when Nattvakt is started; `deliver -- NIGHT --export DIR` in a terminal writes anywhere.",
      { path },
    );
  }
  const out = existsSync(path) ? linkOutOf(path, isAllowed, 0) : null;
  if (out === null) return;
  throw new NightError(
    "settings.invalid",
    `${out} is a link that leads out of the folders that the page may write into; nothing was written.`,
    { path: out },
  );
}

/** Whether a path lies in a folder, or is it; both without links. */
export function isWithin(folder: string, path: string): boolean {
  const inside = relative(folder, path);
  return inside !== ".." && !inside.startsWith(`..${sep}`) && resolve(inside) !== inside;
}

/**
 * A path with every link in it followed, as far as it exists.
 *
 * @throws NightError `settings.invalid` for a link that leads nowhere yet: writing through it would
 *   make a file there.
 */
function realPathOf(path: string): string {
  try {
    return realpathSync(path);
  } catch {
    if (isLink(path)) {
      throw new NightError("settings.invalid", `${path} is a link that leads nowhere.`, { path });
    }
    const parent = dirname(path);
    return parent === path ? path : join(realPathOf(parent), relative(parent, path));
  }
}

function isLink(path: string): boolean {
  return lstatSync(path, { throwIfNoEntry: false })?.isSymbolicLink() ?? false;
}

/** @returns the first link below that leads out, or nowhere; null: none does. */
function linkOutOf(
  folder: string,
  isAllowed: (real: string) => boolean,
  depth: number,
): string | null {
  if (depth > DEPTH_MAX || !lstatSync(realpathSync(folder)).isDirectory()) return null;
  for (const entry of readdirSync(folder, { withFileTypes: true })) {
    const path = join(folder, entry.name);
    if (entry.isSymbolicLink() && !leadsWithin(path, isAllowed)) return path;
    const below = entry.isDirectory() ? linkOutOf(path, isAllowed, depth + 1) : null;
    if (below !== null) return below;
  }
  return null;
}

function leadsWithin(link: string, isAllowed: (real: string) => boolean): boolean {
  try {
    return isAllowed(realpathSync(link));
  } catch {
    return false;
  }
}
