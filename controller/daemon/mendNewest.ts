import { existsSync, readdirSync, statSync } from "node:fs";
import { join } from "node:path";
import { daemonWords } from "../../core/words/daemonWords.ts";
import { CATALOGUE_FILE } from "../archive/catalogue.ts";
import { damageOf, mendNight } from "../archive/mendCatalogue.ts";
import { NIGHTS_FOLDER, readNightFile } from "../archive/nightFolder.ts";
import { unfinishedNights } from "../archive/recover.ts";

/** A catalogue that nobody has written to for so long is no night that could go on. */
const RECENT_MS = 36 * 3_600_000;

/**
 * Looks at the newest night before it is gone on with: a damaged catalogue is made again from what
 * can be read and from the frames' own files, and what was lost is said. Nothing keeps the program
 * from starting.
 */
export async function mendNewest(dataDir: string, print: (line: string) => void): Promise<void> {
  const nights = join(dataDir, NIGHTS_FOLDER);
  const name = existsSync(nights) ? readdirSync(nights).sort().at(-1) : undefined;
  if (name === undefined) return;
  const nightDir = join(nights, name);
  const info = readNightFile(nightDir);
  const written = statSync(join(nightDir, CATALOGUE_FILE), { throwIfNoEntry: false });
  if (!info || !written || Date.now() - written.mtimeMs > RECENT_MS) return;
  if (damageOf(nightDir) === null) return;
  print(await mendNight(nightDir));
  if (unfinishedNights(dataDir).some((one) => one.nightDir === nightDir)) return;
  print(daemonWords.night.watchLost(name));
}
