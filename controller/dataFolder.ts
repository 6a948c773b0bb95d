import { existsSync, readdirSync } from "node:fs";
import { homedir } from "node:os";
import { join, posix, resolve, win32 } from "node:path";
import { NIGHTS_FOLDER } from "./archive/nightFolder.ts";
import { IS_COMPILED } from "./ownFiles.ts";

/** In a clone, nights are kept in the working folder. */
const CLONE_DATA = "data";

/**
 * Where programs keep a user's data on this system.
 *
 * Sources: XDG Base Directory Specification 0.8 (`XDG_DATA_HOME`, which counts only as an absolute
 * path, else `~/.local/share`); from memory, unconfirmed: macOS's Application Support, and
 * Windows's local, not roaming, application data, since nights are large.
 */
export function platformDataFolder(system: {
  readonly platform: NodeJS.Platform;
  readonly env: Readonly<Record<string, string | undefined>>;
  readonly home: string;
}): string {
  const { platform, env, home } = system;
  if (platform === "win32") {
    const local = env["LOCALAPPDATA"] ?? "";
    return win32.join(local === "" ? win32.join(home, "AppData", "Local") : local, "Nattvakt");
  }
  if (platform === "darwin") return posix.join(home, "Library", "Application Support", "Nattvakt");
  const xdg = env["XDG_DATA_HOME"] ?? "";
  return posix.join(posix.isAbsolute(xdg) ? xdg : posix.join(home, ".local/share"), "nattvakt");
}

/** Where nights are kept unless `--data` says otherwise. */
export const DEFAULT_DATA = IS_COMPILED
  ? platformDataFolder({ platform: process.platform, env: process.env, home: homedir() })
  : CLONE_DATA;

/**
 * One line when the working folder holds nights of a clone that the data folder in use does not
 * show; null: it holds none.
 */
export function otherNightsLine(workingDir: string, dataDir: string): string | null {
  const other = join(workingDir, CLONE_DATA);
  const nights = join(other, NIGHTS_FOLDER);
  if (resolve(other) === resolve(dataDir) || !existsSync(nights)) return null;
  const count = readdirSync(nights, { withFileTypes: true }).filter((one) =>
    one.isDirectory(),
  ).length;
  if (count === 0) return null;
  const what = count === 1 ? "a night" : `${count} nights`;
  return `${other} holds ${what}, too; --data ${CLONE_DATA} shows that folder instead of ${dataDir}.`;
}
