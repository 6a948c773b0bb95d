import { existsSync, readdirSync } from "node:fs";
import { join, resolve } from "node:path";
import { NightError } from "../../core/errors.ts";
import { CATALOGUE_FILE } from "./catalogue.ts";
import { NIGHTS_FOLDER } from "./nightFolder.ts";

/**
 * The folder of the night that someone means: a path, a night's folder name, its date, its name, or
 * "last".
 *
 * @throws NightError `archive.not_found` saying which nights there are.
 */
export function findNight(dataDir: string, words: string): string {
  if (existsSync(join(words, CATALOGUE_FILE))) return resolve(words);
  const nights = join(dataDir, NIGHTS_FOLDER);
  const names = existsSync(nights)
    ? readdirSync(nights)
        .filter((name) => existsSync(join(nights, name, CATALOGUE_FILE)))
        .sort()
    : [];
  const last = names.at(-1);
  if (words === "last" && last !== undefined) return join(nights, last);
  const exact = names.find((name) => name === words);
  const near = names.filter(
    (name) => name.startsWith(`${words}_`) || name.slice(11).toLowerCase() === words.toLowerCase(),
  );
  const found = exact ?? near.at(-1);
  if (found !== undefined && (exact !== undefined || near.length === 1)) return join(nights, found);
  const known = names.length === 0 ? "there are none yet" : `there are ${names.join(", ")}`;
  throw new NightError(
    "archive.not_found",
    near.length > 1
      ? `"${words}" may mean ${near.join(" or ")}; give the folder's whole name.`
      : `There is no night "${words}" in ${nights}; ${known}.`,
  );
}
