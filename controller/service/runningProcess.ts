import { readFileSync, rmSync } from "node:fs";
import { join } from "node:path";
import * as v from "valibot";
import { NightError } from "../../core/errors.ts";
import { holdDataFolder } from "../archive/holdDataFolder.ts";
import { callOf } from "../ownFiles.ts";
import { writeDurablySync } from "../durableWrite.ts";

const FILE = "running.json";

/** The Nattvakt that keeps its nights in a data folder. */
export type RunningProcess = { readonly pid: number; readonly address: string };

const runningSchema = v.object({
  pid: v.pipe(v.number(), v.integer()),
  address: v.string(),
  nightDir: v.optional(v.nullable(v.string()), null),
  bootId: v.optional(v.nullable(v.string()), null),
});

/**
 * Writes down which process runs on a data folder and where its page is, for anyone who looks for it
 * once its terminal is gone.
 *
 * @param nightDir  The night that it has open; null: none.
 * @returns forgets it again.
 */
export function noteRunning(
  dataDir: string,
  { address, nightDir }: { readonly address: string; readonly nightDir: string | null },
): () => void {
  const path = join(dataDir, FILE);
  const running = { pid: process.pid, address, nightDir, bootId: bootId() };
  try {
    writeDurablySync(path, `${JSON.stringify(running)}\n`);
  } catch {
    // A full disk: the watch is worth more than being found.
    return () => undefined;
  }
  return () => rmSync(path, { force: true });
}

/** The process that runs on a data folder; null: none does, whatever an old file says. */
export function runningProcess(dataDir: string): RunningProcess | null {
  const noted = notedProcess(dataDir);
  return noted !== null && isHeld(dataDir) ? { pid: noted.pid, address: noted.address } : null;
}

/**
 * The night that a Nattvakt had open which did not end in order, since the computer was started;
 * null: the last one did, or had none. Asked by the one that holds the data folder now.
 */
export function nightOfTheDead(dataDir: string): string | null {
  const noted = notedProcess(dataDir);
  return noted !== null && noted.bootId !== null && noted.bootId === bootId()
    ? noted.nightDir
    : null;
}

/** Another one at every start of the computer; null where the system has none. Source: random(4). */
function bootId(): string | null {
  try {
    return readFileSync("/proc/sys/kernel/random/boot_id", "utf8").trim();
  } catch {
    return null;
  }
}

function notedProcess(dataDir: string): v.InferOutput<typeof runningSchema> | null {
  try {
    return v.parse(runningSchema, JSON.parse(readFileSync(join(dataDir, FILE), "utf8")));
  } catch {
    // It is not there, or a power cut left half of it: then nothing is known.
    return null;
  }
}

/** The lock ends with its process, however that ended; a number in a file does not. */
function isHeld(dataDir: string): boolean {
  try {
    holdDataFolder(dataDir)();
    return false;
  } catch (thrown) {
    return thrown instanceof NightError && thrown.code === "archive.in_use";
  }
}

/** The refusal of a second start, naming the process that is in the way and the command that ends it. */
export function namingTheOther(thrown: unknown, dataDir: string): unknown {
  const isRefusal =
    thrown instanceof NightError &&
    (thrown.code === "port.taken" || thrown.code === "archive.in_use");
  const other = isRefusal ? runningProcess(dataDir) : null;
  if (!isRefusal || other === null) return thrown;
  return new NightError(
    thrown.code,
    `Nattvakt runs already on ${dataDir}: process ${other.pid}, page ${other.address}. \`${bareCall("status")}\` says how it stands, \`${bareCall("stop")}\` ends it in order.`,
    { dataDir, pid: other.pid },
    { cause: thrown },
  );
}

/** A command as it is called without options. */
function bareCall(command: string): string {
  return callOf(command).replace(/ --$/, "");
}
