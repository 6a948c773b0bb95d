import { createHash, randomBytes } from "node:crypto";
import { existsSync, mkdirSync, readdirSync, readFileSync } from "node:fs";
import { homedir, hostname, userInfo } from "node:os";
import { basename, dirname, join, resolve } from "node:path";
import { strToU8, zipSync } from "fflate";
import {
  patternOf,
  serialNumbersIn,
  withoutPrivate,
  withoutPrivateText,
  type PrivateWords,
} from "../../core/metadata/withoutPrivate.ts";
import { writeDurablySync } from "../durableWrite.ts";
import { Catalogue } from "./catalogue.ts";
import { NIGHTS_FOLDER, nightInfoOf } from "./nightFolder.ts";
import type { NightInfo } from "./nightInfo.ts";

/** Folder of the data folder into which reports go. */
const REPORTS_FOLDER = "reports";
/** The log around a night is a few hundred kilobytes; beyond this the oldest lines stay out. Judgement. */
const LOG_BYTES_MAX = 8 * 1024 * 1024;
/** A start that failed, and an end that did, lie around the night. */
const LOG_MARGIN_MS = 3_600_000;

const CONTENTS = `What somebody needs to find out what went wrong in one night:

night.json      the night and the versions, without its place
events.jsonl    what the watch was reported and did, in order
frames.jsonl    every frame: asked, done, metered, kept
log.jsonl       the program's log around the night
profiles/       what the bench check wrote of the camera
protocol/       the last bytes of the camera's protocol, where a fault had them written
thumbnails/     small pictures, only if they were asked for

Left out: the place, keys and tokens, and pictures unless they were asked for. Serial numbers are replaced
by words that do not lead back to them; the names of this computer, its account and its folders likewise.
Look through it before you send it.
`;

/** Whose names a report does not say. */
type Computer = { readonly name: string; readonly account: string; readonly home: string };

type ProblemReportOptions = {
  readonly nightDir: string;
  /** The data folder that the night lies in. */
  readonly dataDir: string;
  /** Small pictures come along. */
  readonly withPictures: boolean;
  /** Left out: this one. */
  readonly computer?: Computer;
};

function thisComputer(): Computer {
  return { name: hostname(), account: userInfo().username, home: homedir() };
}

/**
 * Packs what is known of a night into one zip file for somebody who is to find a fault, without
 * place, keys and serial numbers.
 *
 * @returns the file's path. @throws NightError as `Catalogue.open`.
 */
export function writeProblemReport({
  nightDir,
  dataDir,
  withPictures,
  computer = thisComputer(),
}: ProblemReportOptions): string {
  const catalogue = Catalogue.open(nightDir, { readOnly: true });
  try {
    const info = nightInfoOf(catalogue);
    const ownDir = ownFolder(nightDir, dataDir);
    const events = [...catalogue.events()];
    const profiles = filesIn(join(ownDir, "profiles", "cameras"), ".json");
    const words = privateWords({
      ...{ info, computer, dataDir: resolve(dataDir) },
      serials: serialNumbersIn([events, profiles.map(({ bytes }) => parsed(bytes.toString()))]),
    });
    const lines = (values: Iterable<unknown>): Uint8Array =>
      strToU8([...values].map((one) => `${JSON.stringify(withoutPrivate(one, words))}\n`).join(""));
    const versions = catalogue.getState<unknown>("versions");
    const span = spanOf(info, events.at(-1)?.utcMs ?? null);
    const packed: Record<string, Uint8Array> = {
      "CONTENTS.txt": strToU8(CONTENTS),
      "night.json": lines([
        { ...info, versions, node: process.version, platform: process.platform },
      ]),
      "events.jsonl": lines(events),
      "frames.jsonl": lines(framesOf(catalogue)),
      "log.jsonl": lines(logLines(ownDir, span)),
    };
    for (const { name, bytes } of profiles) {
      packed[`profiles/${withoutPrivateText(name, words)}`] = lines([parsed(bytes.toString())]);
    }
    for (const { name, bytes } of filesIn(nightDir, ".pcapng")) packed[`protocol/${name}`] = bytes;
    if (withPictures) Object.assign(packed, thumbnailsOf(catalogue));
    const file = join(ownDir, REPORTS_FOLDER, `${basename(nightDir)}-report.zip`);
    mkdirSync(dirname(file), { recursive: true });
    writeDurablySync(file, zipSync(packed));
    return file;
  } finally {
    catalogue.close();
  }
}

/** The folder with the night's own log and profiles: the demo's nights have one to themselves. */
function ownFolder(nightDir: string, dataDir: string): string {
  const parent = dirname(nightDir);
  return basename(parent) === NIGHTS_FOLDER ? dirname(parent) : resolve(dataDir);
}

function privateWords({
  info,
  dataDir,
  computer,
  serials,
}: {
  info: NightInfo | null;
  dataDir: string;
  computer: Computer;
  serials: readonly string[];
}): PrivateWords {
  // The same number has the same word within a report, and another one in the next.
  const salt = randomBytes(16);
  const serialWord = (serial: string): string =>
    `serial-${createHash("sha256").update(salt).update(serial).digest("hex").slice(0, 12)}`;
  const places = info === null ? [] : [info.placeName, ...degreesOf(info)].filter(Boolean);
  const anywhere = [
    ...serials.map((serial) => [serial, serialWord(serial)] as const),
    ...places.map((place) => [place, "(place)"] as const),
    [dataDir, "DATA"] as const,
    [computer.home, "HOME"] as const,
  ].sort(([one], [other]) => other.length - one.length);
  const asWords = [
    [computer.name, "(computer)"],
    [computer.account, "(account)"],
  ] as const;
  return {
    serialWord,
    replaced: [
      ...anywhere.map(([text, word]) => [patternOf(text, { isWord: false }), word] as const),
      ...asWords.map(([text, word]) => [patternOf(text, { isWord: true }), word] as const),
    ],
  };
}

/** A place's degrees as sentences write them. */
function degreesOf({ latitudeDeg, longitudeDeg }: NightInfo): readonly string[] {
  return [latitudeDeg, longitudeDeg].flatMap((degrees) =>
    [2, 3, 4, 5, 6].map((digits) => degrees.toFixed(digits)),
  );
}

function* framesOf(catalogue: Catalogue): Iterable<unknown> {
  for (const cameraId of catalogue.cameraIds()) {
    const count = 500;
    for (let fromIndex = 0; ;) {
      const page = catalogue.frames({ fromIndex, count, cameraId });
      yield* page;
      if (page.length < count) break;
      fromIndex = page.at(-1)!.frameIndex + 1;
    }
  }
}

type Span = { readonly fromMs: number; readonly toMs: number };

/** When the log's lines of this night were written: a simulated night has a clock of its own. */
function spanOf(info: NightInfo | null, lastUtcMs: number | null): Span {
  if (info?.isRehearsal) return { fromMs: 0, toMs: Infinity };
  const toMs = (lastUtcMs ?? Infinity) + LOG_MARGIN_MS;
  return { fromMs: (info?.startUtcMs ?? 0) - LOG_MARGIN_MS, toMs };
}

/** The log's lines of that time, those of its older files included; lines that are no JSON stay out. */
function logLines(ownDir: string, { fromMs, toMs }: Span): readonly unknown[] {
  const files = filesIn(ownDir, "", (name) => name.startsWith("nattvakt.log"));
  const lines = files
    .flatMap(({ bytes }) => bytes.toString("utf8").split("\n"))
    .flatMap((line) => {
      const entry = parsed(line);
      const { time } = (entry ?? {}) as { time?: unknown };
      const atMs = typeof time === "string" ? Date.parse(time) : NaN;
      return atMs >= fromMs && atMs <= toMs ? [{ atMs, entry, bytes: line.length }] : [];
    })
    .sort((one, other) => one.atMs - other.atMs);
  let bytes = 0;
  const kept = lines.toReversed().filter((line) => (bytes += line.bytes) <= LOG_BYTES_MAX);
  return kept.toReversed().map(({ entry }) => entry);
}

function thumbnailsOf(catalogue: Catalogue): Record<string, Uint8Array> {
  const thumbnails: Record<string, Uint8Array> = {};
  for (const cameraId of catalogue.cameraIds()) {
    for (const { frameIndex } of catalogue.frames({ fromIndex: 0, count: 100_000, cameraId })) {
      const jpeg = catalogue.thumbnail(cameraId, frameIndex);
      if (jpeg) thumbnails[`thumbnails/${cameraId}-${frameIndex}.jpg`] = jpeg;
    }
  }
  return thumbnails;
}

function filesIn(
  folder: string,
  ending: string,
  isWanted: (name: string) => boolean = () => true,
): readonly { readonly name: string; readonly bytes: Buffer }[] {
  if (!existsSync(folder)) return [];
  return readdirSync(folder)
    .filter((name) => name.endsWith(ending) && isWanted(name))
    .sort()
    .map((name) => ({ name, bytes: readFileSync(join(folder, name)) }));
}

function parsed(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}
