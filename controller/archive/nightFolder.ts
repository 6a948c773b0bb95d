import { existsSync, mkdirSync, readFileSync, readdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import type { NightSummary } from "../../core/api/messages.ts";
import { NightError, asNightError } from "../../core/errors.ts";
import { archiveError, onDisk } from "./archiveError.ts";
import { Catalogue, CATALOGUE_FILE } from "./catalogue.ts";
import { FRAMES_FOLDER } from "./frameFiles.ts";
import type { NightInfo } from "./nightInfo.ts";

export const NIGHTS_FOLDER = "nights";
/** The demo's own data folder, inside the data folder: made-up nights never lie among real ones. */
export const DEMO_FOLDER = "demo";
export const NIGHT_FILE = "night.json";

/** Version of `night.json`; the catalogue has its own. */
const NIGHT_FILE_VERSION = 1;

/** A night in the list; `problem` says in one sentence why it cannot be opened, null: it can. */
type ListedNight = NightSummary & { readonly problem: string | null };

/**
 * The evening's date: that of the local mean solar noon before the start, so that a watch begun
 * after midnight belongs to the evening before.
 */
export function eveningDate(night: { startUtcMs: number; longitudeDeg: number }): string {
  const solarMs = night.startUtcMs + (night.longitudeDeg / 15) * 3_600_000;
  return new Date(solarMs - 12 * 3_600_000).toISOString().slice(0, 10);
}

/** A name as a folder can carry it on every system: letters, digits and hyphens. */
export function folderNameOf(name: string): string {
  const plain = name
    .normalize("NFKD")
    .replace(/\p{M}/gu, "")
    .replace(/[^\p{L}\p{N}]+/gu, "-")
    .replace(/^-+|-+$/g, "")
    .slice(0, 60);
  return plain === "" ? "night" : plain;
}

/**
 * Makes `DATA/nights/YYYY-MM-DD_NAME/` with `frames/` and `night.json`; a number is added when the
 * name is taken.
 *
 * @returns The night's folder.
 * @throws NightError `archive.read_only`, `archive.disk_full`.
 */
export function createNightFolder(dataDir: string, night: NightInfo): string {
  const nights = join(dataDir, NIGHTS_FOLDER);
  onDisk(nights, () => mkdirSync(nights, { recursive: true }));
  const base = `${eveningDate(night)}_${folderNameOf(night.name)}`;
  for (let attempt = 1; attempt <= 10_000; attempt += 1) {
    const nightDir = join(nights, attempt === 1 ? base : `${base}-${attempt}`);
    try {
      mkdirSync(nightDir);
    } catch (thrown) {
      if (thrown instanceof Error && "code" in thrown && thrown.code === "EEXIST") continue;
      throw archiveError(thrown, nightDir);
    }
    onDisk(nightDir, () => {
      mkdirSync(join(nightDir, FRAMES_FOLDER));
      const content = { version: NIGHT_FILE_VERSION, ...night };
      writeFileSync(join(nightDir, NIGHT_FILE), `${JSON.stringify(content, null, 2)}\n`);
    });
    return nightDir;
  }
  throw new NightError(
    "archive.read_only",
    `There is no free folder name for a night in ${nights}.`,
  );
}

/** Every night in the data folder, newest first; one that cannot be opened is listed with why. */
export function listNights(dataDir: string): ListedNight[] {
  const nights = join(dataDir, NIGHTS_FOLDER);
  if (!existsSync(nights)) return [];
  const entries = onDisk(nights, () => readdirSync(nights, { withFileTypes: true }));
  return entries
    .filter((entry) => entry.isDirectory())
    .map((entry) => summarise(nights, entry.name))
    .filter((night) => night !== null)
    .sort(
      (one, other) => other.startUtcMs - one.startUtcMs || (one.nightId < other.nightId ? 1 : -1),
    );
}

/** What `night.json` says; null when it is missing or unreadable. */
export function readNightFile(nightDir: string): NightInfo | null {
  try {
    return asNightInfo(JSON.parse(readFileSync(join(nightDir, NIGHT_FILE), "utf8")));
  } catch {
    // The catalogue holds the same again; a damaged copy is no reason to refuse the night.
    return null;
  }
}

/** The night's own facts, from the catalogue or else from `night.json`. */
export function nightInfoOf(catalogue: Catalogue): NightInfo | null {
  return asNightInfo(catalogue.getState("night")) ?? readNightFile(catalogue.nightDir);
}

function summarise(nights: string, nightId: string): ListedNight | null {
  const nightDir = join(nights, nightId);
  const written = readNightFile(nightDir);
  if (written === null && !existsSync(join(nightDir, CATALOGUE_FILE))) return null;
  try {
    const catalogue = Catalogue.open(nightDir, { readOnly: true });
    try {
      const info = nightInfoOf(catalogue) ?? unknownNight(nightId);
      return { nightId, ...info, frameCount: catalogue.frameCount(), problem: null };
    } finally {
      catalogue.close();
    }
  } catch (thrown) {
    const problem = asNightError(thrown).message;
    return { nightId, ...(written ?? unknownNight(nightId)), frameCount: 0, problem };
  }
}

/** What a folder's name alone says of its night. */
export function unknownNight(nightId: string): NightInfo {
  const [date = "", name = nightId] = nightId.split("_");
  const startMs = Date.parse(date);
  return {
    name,
    startUtcMs: (Number.isFinite(startMs) ? startMs : 0) as NightInfo["startUtcMs"],
    latitudeDeg: 0,
    longitudeDeg: 0,
    placeName: "",
    isRehearsal: false,
  };
}

function asNightInfo(value: unknown): NightInfo | null {
  if (typeof value !== "object" || value === null) return null;
  const fields = value as Partial<Record<keyof NightInfo, unknown>>;
  const { name, startUtcMs, latitudeDeg, longitudeDeg, elevationM, placeName, isRehearsal } =
    fields;
  if (typeof name !== "string" || typeof startUtcMs !== "number") return null;
  return {
    name,
    startUtcMs: startUtcMs as NightInfo["startUtcMs"],
    latitudeDeg: typeof latitudeDeg === "number" ? latitudeDeg : 0,
    longitudeDeg: typeof longitudeDeg === "number" ? longitudeDeg : 0,
    ...(typeof elevationM === "number" ? { elevationM } : {}),
    placeName: typeof placeName === "string" ? placeName : "",
    isRehearsal: isRehearsal === true,
  };
}
