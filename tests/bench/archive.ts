import { mkdirSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { Catalogue } from "../../controller/archive/catalogue.ts";
import { writeDurably } from "../../controller/durableWrite.ts";
import { recoverNight } from "../../controller/archive/recover.ts";
import { cutFrameSets } from "../../core/frames/frameSets.ts";
import type { CardEntry } from "../../core/frames/reconcile.ts";
import { monotonicMs } from "../../core/units.ts";
import { NIGHT_START_UTC_MS, makeFrame } from "../support/frameRecords.ts";
import { killNight } from "../support/killNight.ts";
import type { BenchRow } from "./benchRow.ts";
import { medianOf, nearestRankOf } from "../../core/statistics.ts";

/** Enough for the slowest of a handful; hundreds are `npm run campaign -- kills`. */
const KILLS = 40;
const SMALL_NIGHT = 1000;
const LARGE_NIGHT = 10_000;
/** What a page may take before it counts as a delay; common practice, no source. */
const NO_DELAY_MS = 100;

/** Nothing lost under random kills, and large nights without delay. */
export async function benchArchive(): Promise<BenchRow[]> {
  const folder = mkdtempSync(join(tmpdir(), "nattvakt-bench-"));
  try {
    return [...writingRows(folder), ...pagingRows(folder), ...(await killRows(folder))];
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

const NIGHT = {
  ...{ name: "bench", startUtcMs: NIGHT_START_UTC_MS, latitudeDeg: 68.9, longitudeDeg: 27 },
  ...{ placeName: "Hut Seven", isRehearsal: true },
};

function createNight(folder: string, name: string): Catalogue {
  const nightDir = join(folder, name);
  mkdirSync(nightDir);
  return Catalogue.create(nightDir, NIGHT);
}

/** A frame's row with its flush, beside an event's without. */
function writingRows(folder: string): BenchRow[] {
  const catalogue = createNight(folder, "writing");
  const frame = makeFrame();
  const frameMs = millisecondsOf(300, (frameIndex) => {
    catalogue.putFrame({ ...frame, frameIndex });
  });
  const eventMs = millisecondsOf(300, (n) => {
    const atMs = monotonicMs(n);
    catalogue.appendEvent({ atMs, utcMs: NIGHT_START_UTC_MS, kind: "woke", body: { n } });
  });
  catalogue.close();
  return [
    row({
      ...{ name: "a frame's row, flushed to the disk", value: frameMs, unit: "ms" },
      ...{ comparedWith: "an event's row, not flushed", comparedValue: eventMs },
    }),
  ];
}

function millisecondsOf(count: number, step: (n: number) => void): number {
  const start = performance.now();
  for (let n = 0; n < count; n += 1) step(n);
  return (performance.now() - start) / count;
}

function fillNight(folder: string, count: number): string {
  const catalogue = createNight(folder, `night-${count}`);
  const thumbnailJpeg = new Uint8Array(2500).fill(7);
  const column = new Uint8Array(96 * 3).fill(9);
  catalogue.transaction(() => {
    for (let frameIndex = 0; frameIndex < count; frameIndex += 1) {
      catalogue.putFrame(makeFrame({ frameIndex }));
      catalogue.putSlice("made-up", frameIndex, { thumbnailJpeg, column });
    }
  });
  catalogue.close();
  return catalogue.nightDir;
}

/** Each figure of a 10,000-frame night beside the same of one a tenth as long. */
function pagingRows(folder: string): BenchRow[] {
  const small = pageFigures(fillNight(folder, SMALL_NIGHT), SMALL_NIGHT);
  const large = pageFigures(fillNight(folder, LARGE_NIGHT), LARGE_NIGHT);
  const names: Readonly<Record<keyof typeof large, string>> = {
    open: "opens and gives its newest frame",
    page: "pages 100 frames from its middle",
    strip: "gives every keogram column for the strip",
    find: "finds frames by brightness",
    sets: "is cut into frame sets",
  };
  return (Object.keys(names) as (keyof typeof large)[]).map((key) =>
    row({
      ...{ name: `a night of ${LARGE_NIGHT} frames ${names[key]}`, value: large[key], unit: "ms" },
      ...{ comparedWith: `a night of ${SMALL_NIGHT} frames`, comparedValue: small[key] },
      ...(key === "open" || key === "page" ? { note: `limit ${NO_DELAY_MS} ms` } : {}),
    }),
  );
}

function pageFigures(nightDir: string, count: number) {
  const timed = (step: () => void): number => {
    return medianOf(Array.from({ length: 5 }, () => millisecondsOf(1, step)));
  };
  const open = timed(() => {
    const catalogue = Catalogue.open(nightDir, { readOnly: true });
    catalogue.newest("made-up");
    catalogue.close();
  });
  const catalogue = Catalogue.open(nightDir, { readOnly: true });
  const page = timed(() => catalogue.frames({ fromIndex: count / 2, count: 100 }));
  const strip = timed(() => catalogue.columns(0, count));
  const find = timed(() => catalogue.find({ luminanceCdM2Min: 0.01 }));
  const all = catalogue.frames({ fromIndex: 0, count });
  const sets = timed(() => cutFrameSets(all));
  catalogue.close();
  return { open, page, strip, find, sets };
}

async function killRows(folder: string): Promise<BenchRow[]> {
  const dataDir = join(folder, "killed");
  const outcome = await killNight({ dataDir, kills: KILLS, seed: 7 });
  const note = `${outcome.kills} kills, ${outcome.framesTaken} frames taken`;
  const nothing = { unit: "frames", comparedWith: "allowed", comparedValue: 0, note };
  return [
    row({ name: "frames lost", value: outcome.lost, ...nothing }),
    row({ name: "frames doubled", value: outcome.doubled, ...nothing }),
    row({ name: "files that differ from the card's", value: outcome.damaged, ...nothing }),
    row({
      ...{ name: "complaints of SQLite's integrity check", ...nothing, unit: "lines" },
      value: outcome.integrityProblems.length + (outcome.recognised ? 0 : 1),
    }),
    ...resumeRows(outcome.resumeSeconds),
    await largeRecoveryRow(folder),
  ];
}

/** How soon the watch goes again after a kill: the slowest, and how the rest lie below it. */
function resumeRows(resumeSeconds: readonly number[]): BenchRow[] {
  const at = (share: number): number => nearestRankOf(resumeSeconds, share);
  const slowest = at(1);
  const kill = resumeSeconds.indexOf(slowest) + 1;
  const figures = [
    { which: "slowest", value: slowest, note: `at kill ${kill} of ${resumeSeconds.length}` },
    { which: "99 of 100", value: at(0.99), note: `${resumeSeconds.length} kills` },
    { which: "median", value: at(0.5), note: `${resumeSeconds.length} kills` },
  ];
  return figures.map(({ which, value, note }) =>
    row({
      ...{ name: `from the process's start to the watch going again, ${which}`, value, note },
      ...{ unit: "s", comparedWith: "limit", comparedValue: 2 },
    }),
  );
}

const MISSING_FILES = 1000;
const MISSING_FILE_BYTES = 60_000;

/** A card of files that are all missing, fetched and written down, beside writing the same bare. */
async function largeRecoveryRow(folder: string): Promise<BenchRow> {
  const catalogue = createNight(folder, "reconciled");
  mkdirSync(join(catalogue.nightDir, "frames"));
  catalogue.putFrames(
    Array.from({ length: MISSING_FILES }, (_, frameIndex) =>
      makeFrame({ frameIndex, status: "taken", file: null }),
    ),
  );
  const bytesOf = (n: number): Uint8Array => new Uint8Array(MISSING_FILE_BYTES).fill(n % 251);
  const recovered = await secondsOf(() =>
    recoverNight(catalogue, {
      cameraId: "made-up",
      camera: {
        listCard: () => Promise.resolve(Array.from({ length: MISSING_FILES }, cardEntry)),
        fetchFile: (handle) => Promise.resolve(bytesOf(handle)),
      },
      clockOffsetMs: 0,
    }),
  );
  const keptCount = keptCountOf(catalogue);
  catalogue.close();
  const bareDir = join(folder, "bare");
  mkdirSync(bareDir);
  const bare = await secondsOf(async () => {
    for (let n = 1; n <= MISSING_FILES; n += 1)
      await writeDurably(join(bareDir, `${n}.jpg`), bytesOf(n));
  });
  return row({
    ...{ name: `fetching and writing down ${MISSING_FILES} frames that were all missing` },
    ...{ value: recovered, unit: "s", comparedValue: bare },
    comparedWith: "writing and flushing the same files bare",
    note: `${keptCount} kept; files of ${MISSING_FILE_BYTES / 1000} kB`,
  });
}

function cardEntry(_: unknown, n: number): CardEntry {
  const taken = new Date(NIGHT_START_UTC_MS + n * 16_000).toISOString();
  return {
    ...{ cameraHandle: n + 1, cameraName: `IMG_${n}.JPG`, bytes: MISSING_FILE_BYTES },
    captureDate: taken.slice(0, 19).replace(/[-:]/g, ""),
  };
}

function keptCountOf(catalogue: Catalogue): number {
  const frames = catalogue.frames({ fromIndex: 0, count: MISSING_FILES });
  return frames.filter(({ status }) => status === "kept").length;
}

async function secondsOf(work: () => Promise<unknown>): Promise<number> {
  const start = performance.now();
  await work();
  return (performance.now() - start) / 1000;
}

function row(fields: Omit<BenchRow, "group" | "ratio">): BenchRow {
  return { group: "archive", ...fields, ratio: fields.value / fields.comparedValue };
}
