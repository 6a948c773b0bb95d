import { existsSync, readdirSync } from "node:fs";
import { join, resolve } from "node:path";
import { NightError } from "../../core/errors.ts";
import { CATALOGUE_FILE } from "./catalogue.ts";
import { DEMO_FOLDER, NIGHTS_FOLDER } from "./nightFolder.ts";

/**
 * The folder of the night that someone means: a path, a night's folder name, its date, its name, or
 * "last". A night of the demo is found where no real one is meant.
 *
 * @throws NightError `archive.not_found` saying which nights there are.
 */
export function findNight(dataDir: string, words: string): string {
  if (existsSync(join(words, CATALOGUE_FILE))) return resolve(words);
  const folders = [dataDir, join(dataDir, DEMO_FOLDER)].map((folder) =>
    join(folder, NIGHTS_FOLDER),
  );
  for (const nights of folders) {
    const name = nameMeant(namesIn(nights), words);
    if (name !== null) return join(nights, name);
  }
  const names = folders.flatMap(namesIn);
  const known = names.length === 0 ? "there are none yet" : `there are ${names.join(", ")}`;
  throw new NightError(
    "archive.not_found",
    `There is no night "${words}" in ${folders[0]}; ${known}.`,
  );
}

/**
 * The folder of the night with this id in the data folder, and of no other place: the id may come
 * from a request.
 *
 * @throws NightError `archive.not_found`.
 */
export function nightDirOf(dataDir: string, nightId: string): string {
  const nightDir = join(dataDir, NIGHTS_FOLDER, nightId);
  const isName = !/[/\\]/.test(nightId) && nightId !== "." && nightId !== "..";
  if (isName && existsSync(join(nightDir, CATALOGUE_FILE))) return nightDir;
  throw new NightError("archive.not_found", `There is no night ${nightId}.`);
}

/** @throws NightError `archive.not_found` when the words may mean several. */
function nameMeant(names: readonly string[], words: string): string | null {
  if (words === "last") return names.at(-1) ?? null;
  if (names.includes(words)) return words;
  const near = names.filter(
    (name) => name.startsWith(`${words}_`) || name.slice(11).toLowerCase() === words.toLowerCase(),
  );
  if (near.length <= 1) return near[0] ?? null;
  throw new NightError(
    "archive.not_found",
    `"${words}" may mean ${near.join(" or ")}; give the folder's whole name.`,
  );
}

function namesIn(nights: string): readonly string[] {
  if (!existsSync(nights)) return [];
  return readdirSync(nights)
    .filter((name) => existsSync(join(nights, name, CATALOGUE_FILE)))
    .sort();
}
