import { existsSync, readdirSync, statSync } from "node:fs";
import { join } from "node:path";
import { asNightError } from "../../core/errors.ts";
import { CATALOGUE_FILE } from "../archive/catalogue.ts";
import { damageOf, mendCatalogue } from "../archive/mendCatalogue.ts";
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
  try {
    const { readCount, remadeCount, lostCount, asideFile } = await mendCatalogue(nightDir, info);
    print(
      `The catalogue of ${name} was damaged in ${lostCount} ${lostCount === 1 ? "place" : "places"}. ${readCount} frames could be read, ${remadeCount} were made again from their files; the damaged file is kept as ${asideFile}.`,
    );
    if (unfinishedNights(dataDir).some((one) => one.nightDir === nightDir)) return;
    print(`Whether ${name} was still being watched is lost with it; a new night begins.`);
  } catch (thrown) {
    print(
      `The catalogue of ${name} is damaged and cannot be made again now (${asNightError(thrown).message}); its pictures are untouched, and a new night begins.`,
    );
  }
}
