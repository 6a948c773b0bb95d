import { copyFileSync, existsSync, readdirSync, readFileSync, renameSync, rmSync } from "node:fs";
import { basename, extname, join } from "node:path";
import { asNightError, NightError } from "../../core/errors.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { Catalogue, CATALOGUE_FILE } from "./catalogue.ts";
import { createFile } from "./catalogueFile.ts";
import { exposureInFile } from "../imageExif.ts";
import { FRAMES_FOLDER, sha256Of } from "./frameFiles.ts";
import { readNightFile, unknownNight } from "./nightFolder.ts";
import type { NightInfo } from "./nightInfo.ts";
import { readAround } from "./readAround.ts";
import { SqliteFile } from "./sqliteFile.ts";

/** What became of a damaged catalogue. */
type Mending = {
  /** Where the damaged file lies now, untouched. */
  readonly asideFile: string;
  /** Frames whose rows could still be read. */
  readonly readCount: number;
  /** Frames whose rows were made again from their files. */
  readonly remadeCount: number;
  /** Places in the event log and among the frames that could not be read. */
  readonly lostCount: number;
};

type Row = Readonly<Record<string, unknown>>;

/** A night's log holds no more; the search for its end goes no further. */
const EVENTS_MAX = 2_000_000;
const FRAMES_MAX = 100_000;
/** Tables beside the frames that are read as far as they can be, whole or not at all. */
const SIDE_TABLES = ["slices", "picks", "measures", "sky_columns", "strays"] as const;

/** Why a catalogue cannot be relied on; null: it is sound, or not ours to mend. */
export function damageOf(nightDir: string): string | null {
  try {
    const catalogue = Catalogue.open(nightDir, { readOnly: true });
    try {
      const problems = catalogue.integrityProblems();
      if (problems.length > 0) return problems[0]!;
      catalogue.frames({ fromIndex: 0, count: Number.MAX_SAFE_INTEGER });
      return null;
    } finally {
      catalogue.close();
    }
  } catch (thrown) {
    const isOther =
      thrown instanceof NightError &&
      (thrown.code === "archive.newer" ||
        thrown.code === "archive.not_found" ||
        thrown.code === "archive.read_only");
    return isOther ? null : String((thrown as Error).message);
  }
}

/**
 * Makes a night's catalogue again from what can be read of a damaged one, by ranges around the
 * damage, and from the files of the frames whose rows are lost. The damaged file is set aside as it is.
 *
 * @throws NightError `archive.*` when the disk refuses.
 */
export async function mendCatalogue(nightDir: string, info: NightInfo): Promise<Mending> {
  const path = join(nightDir, CATALOGUE_FILE);
  const asideFile = setCatalogueAside(nightDir);
  const found = readDamaged(join(nightDir, asideFile));
  const remade = await framesFromFiles(nightDir, found.frames);
  const fresh = createFile(path);
  try {
    fresh.transaction(() => {
      for (const [table, rows] of Object.entries(found.tables)) insertAll(fresh, table, rows);
    });
  } finally {
    fresh.close();
  }
  const catalogue = Catalogue.open(nightDir);
  try {
    if (catalogue.getState("night") === null) catalogue.setState("night", info);
    catalogue.putFrames(remade);
    catalogue.flush();
  } finally {
    catalogue.close();
  }
  return {
    asideFile,
    readCount: found.frames.length,
    remadeCount: remade.length,
    lostCount: found.lostCount,
  };
}

/** Makes a night's damaged catalogue again. @returns what became of it, in a sentence; never throws. */
export async function mendNight(nightDir: string): Promise<string> {
  const name = basename(nightDir);
  try {
    const info = readNightFile(nightDir) ?? unknownNight(name);
    const { readCount, remadeCount, lostCount, asideFile } = await mendCatalogue(nightDir, info);
    return `The catalogue of ${name} was damaged in ${lostCount} ${lostCount === 1 ? "place" : "places"}. ${readCount} frames could be read, ${remadeCount} were made again from their files; the damaged file is kept as ${asideFile}.`;
  } catch (thrown) {
    return `The catalogue of ${name} is damaged and cannot be made again now (${asNightError(thrown).message}); its pictures are untouched.`;
  }
}

/** The file and its log, under a name that is free. */
function setCatalogueAside(nightDir: string): string {
  for (let number = 1; ; number += 1) {
    const name = `catalogue.damaged-${number}.sqlite`;
    if (existsSync(join(nightDir, name))) continue;
    for (const ending of ["", "-wal", "-shm"]) {
      const from = join(nightDir, `${CATALOGUE_FILE}${ending}`);
      if (existsSync(from)) renameSync(from, join(nightDir, `${name}${ending}`));
    }
    return name;
  }
}

type Found = {
  readonly tables: Readonly<Record<string, readonly Row[]>>;
  readonly frames: readonly FrameRecord[];
  readonly lostCount: number;
};

/** Reads a copy, because even reading may write to the file's log. */
function readDamaged(path: string): Found {
  const copy = `${path}.read`;
  for (const ending of ["", "-wal"]) {
    if (existsSync(`${path}${ending}`)) copyFileSync(`${path}${ending}`, `${copy}${ending}`);
  }
  try {
    const file = SqliteFile.open(copy, "write");
    try {
      return readTables(file);
    } finally {
      file.close();
    }
  } catch {
    // Not even its first page is whole: nothing of it can be read.
    return { tables: {}, frames: [], lostCount: 1 };
  } finally {
    for (const ending of ["", "-wal", "-shm"]) rmSync(`${copy}${ending}`, { force: true });
  }
}

function readTables(file: SqliteFile): Found {
  const events = readAround(
    (from, to) => file.all("SELECT * FROM night.events WHERE position BETWEEN ? AND ?", from, to),
    { from: 0, to: EVENTS_MAX, isSound: (row) => isJson((row as Row)["body"]) },
  );
  const cameraIds = cameraIdsOf(file, events.rows as readonly Row[]);
  const frames = cameraIds.map((cameraId) =>
    readAround(
      (from, to) =>
        file.all(
          "SELECT * FROM night.frames WHERE camera_id = ? AND frame_index BETWEEN ? AND ?",
          ...[cameraId, from, to],
        ),
      { from: 0, to: FRAMES_MAX, isSound: (row) => isJson((row as Row)["record"]) },
    ),
  );
  const rows = frames.flatMap((one) => one.rows as readonly Row[]);
  const side = SIDE_TABLES.map((table) => [table, wholeOrNone(file, table)] as const);
  const state = wholeOrNone(file, "state").filter((row) => isJson(row["value"]));
  return {
    tables: {
      events: events.rows as readonly Row[],
      frames: rows,
      state,
      ...Object.fromEntries(side),
    },
    frames: rows.map((row) => JSON.parse(row["record"] as string) as FrameRecord),
    lostCount: events.lostCount + frames.reduce((sum, one) => sum + one.lostCount, 0),
  };
}

function cameraIdsOf(file: SqliteFile, events: readonly Row[]): readonly string[] {
  const ids = new Set<string>();
  for (const row of events) {
    const { cameraId } = JSON.parse(row["body"] as string) as { cameraId?: string };
    if (cameraId !== undefined) ids.add(cameraId);
  }
  try {
    const rows = file.all("SELECT DISTINCT camera_id FROM night.frames") as readonly Row[];
    for (const row of rows) ids.add(row["camera_id"] as string);
  } catch {
    // The events have named those that there are.
  }
  return [...ids];
}

function wholeOrNone(file: SqliteFile, table: string): readonly Row[] {
  try {
    return file.all(`SELECT * FROM night.${table}`) as readonly Row[];
  } catch {
    // What it holds can be made again from the pictures, or is chosen again by hand.
    return [];
  }
}

function isJson(text: unknown): boolean {
  if (typeof text !== "string") return false;
  try {
    JSON.parse(text);
    return true;
  } catch {
    return false;
  }
}

function insertAll(file: SqliteFile, table: string, rows: readonly Row[]): void {
  for (const row of rows) {
    const columns = Object.keys(row);
    const places = columns.map(() => "?").join(", ");
    file.run(
      `INSERT OR IGNORE INTO night.${table} (${columns.join(", ")}) VALUES (${places})`,
      ...Object.values(row),
    );
  }
}

/** Rows for the files that no row speaks of any more, from what they say of themselves. */
async function framesFromFiles(
  nightDir: string,
  known: readonly FrameRecord[],
): Promise<readonly FrameRecord[]> {
  const folder = join(nightDir, FRAMES_FOLDER);
  if (!existsSync(folder)) return [];
  const paths = new Set(known.flatMap(({ file }) => file?.path ?? []));
  const cameraId = known[0]?.cameraId ?? "camera-1";
  const frames: FrameRecord[] = [];
  for (const name of readdirSync(folder)) {
    const frameIndex = Number(name.slice(0, -extname(name).length));
    const path = `${FRAMES_FOLDER}/${name}`;
    const isFrames = /^\d{6}\.(jpg|[a-z0-9]{3})$/.test(name) && !paths.has(path);
    if (!isFrames || known.some((one) => one.frameIndex === frameIndex && one.file)) continue;
    const bytes = readFileSync(join(folder, name));
    const reported = await exposureInFile(bytes);
    const exposure = reported ?? { exposureSeconds: 1, iso: 100, fNumber: 1 };
    frames.push({
      ...{ frameIndex, cameraId, status: "kept", ordered: exposure, happened: reported },
      ...{ reasons: ["its row was lost with a damaged catalogue"], targetStops: 0 },
      ...{ openedUtcMs: null, reading: null, pace: "full" },
      file: {
        ...{ path, bytes: bytes.byteLength, sha256: sha256Of(bytes) },
        ...{ cameraName: "", cameraHandle: null },
      },
    });
  }
  return frames;
}
