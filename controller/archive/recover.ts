import { existsSync, readFileSync, readdirSync, statSync } from "node:fs";
import { join } from "node:path";
import { asNightError } from "../../core/errors.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import {
  planReconciliation,
  type CardEntry,
  type DiskEntry,
  type ReconciliationStep,
} from "../../core/frames/reconcile.ts";
import { doubtOf } from "../../core/frames/proof.ts";
import { isSameObject } from "../../core/frames/stray.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { utcMs, type UtcMs } from "../../core/units.ts";
import { onDisk } from "./archiveError.ts";
import { Catalogue } from "./catalogue.ts";
import { exposureInFile } from "../imageExif.ts";
import {
  FRAMES_FOLDER,
  endingOf,
  frameFileName,
  keepFrameFile,
  setAside,
  sha256Of,
} from "./frameFiles.ts";
import { NIGHTS_FOLDER, nightInfoOf } from "./nightFolder.ts";
import { recoveredFrame } from "./recoveredFrame.ts";
import { keepStray } from "./strayFiles.ts";

/** What recovery needs of a camera; a `Camera` is one. */
export type CardReader = {
  listCard(): Promise<readonly CardEntry[]>;
  fetchFile(cameraHandle: number): Promise<Uint8Array>;
};

type RecoveryReport = {
  /** Frames fetched from the card because they were not kept, gone or changed. */
  readonly fetched: readonly number[];
  /** Frames whose file was whole on the disk already. */
  readonly adopted: readonly number[];
  /** Frames found on the card of which the catalogue knew nothing. */
  readonly added: readonly number[];
  readonly missing: readonly { readonly frameIndex: number; readonly why: string }[];
  readonly setAside: readonly string[];
  /** What could not be done now, one sentence each; recovering again tries again. */
  readonly problems: readonly string[];
  /** Recovered frames that the meter has not seen. */
  readonly unmetered: readonly number[];
};

type RecoveryOptions = {
  readonly cameraId: string;
  /** null: the camera cannot be reached; what the disk holds is put in order all the same. */
  readonly camera: CardReader | null;
  /** Camera clock minus the night's UTC, as `CameraDescription` has it. */
  readonly clockOffsetMs?: number;
  /** When the night ended, for a night recovered after others were taken on the same card. */
  readonly endUtcMs?: UtcMs;
  /** Folder inside `frames/` for this camera's files; "" for the night's first camera. */
  readonly folder?: string;
};

const RUNNING_STATE = "watch.running";

/** A night that was being watched when the daemon ended. */
type UnfinishedNight = {
  readonly nightDir: string;
  /** What `markRunning` was given: enough to set the watch going again. */
  readonly order: unknown;
};

/**
 * Remembers that a watch is running, and with what; null when it has ended in order.
 *
 * @param order  Anything that JSON carries: the watch's settings, the cameras.
 */
export function markRunning(catalogue: Catalogue, order: unknown): void {
  catalogue.setState(RUNNING_STATE, order);
  catalogue.flush();
}

/** Nights whose watch was running when the daemon ended, newest first. */
export function unfinishedNights(dataDir: string): UnfinishedNight[] {
  const nights = join(dataDir, NIGHTS_FOLDER);
  if (!existsSync(nights)) return [];
  const names = onDisk(nights, () => readdirSync(nights))
    .sort()
    .reverse();
  return names.flatMap((name) => {
    const nightDir = join(nights, name);
    const order = runningOrder(nightDir);
    return order === null ? [] : [{ nightDir, order }];
  });
}

function runningOrder(nightDir: string): unknown {
  try {
    const catalogue = Catalogue.open(nightDir, { readOnly: true });
    try {
      return catalogue.getState<unknown>(RUNNING_STATE);
    } finally {
      catalogue.close();
    }
  } catch {
    // A night that cannot be opened cannot be resumed; the list of nights says why.
    return null;
  }
}

/**
 * Puts one camera's share of a night in order after a break: half-written files are set aside,
 * whole ones written down, and everything the card holds beyond that is fetched.
 *
 * Each step is whole in itself, so that a break during recovery is recovered like any other.
 */
export async function recoverNight(
  catalogue: Catalogue,
  options: RecoveryOptions,
): Promise<RecoveryReport> {
  const { cameraId, camera, folder = "" } = options;
  const problems: string[] = [];
  const cardFiles = await listCard(camera, problems);
  const pathOf = (frameIndex: number, cameraName: string): string =>
    `${FRAMES_FOLDER}/${frameFileName(frameIndex, endingOf(cameraName), folder)}`;
  const strays = catalogue.strays();
  const isStray = (entry: CardEntry): boolean =>
    strays.some(({ card }) => isSameObject(card, entry));
  const steps = planReconciliation({
    cameraId,
    frames: catalogue.frames({ cameraId, fromIndex: 0, count: Number.MAX_SAFE_INTEGER }),
    cardFiles: cardFiles?.filter((entry) => !isStray(entry)) ?? null,
    filesOnDisk: filesOnDisk(catalogue.nightDir, folder),
    pathOf,
    clockOffsetMs: options.clockOffsetMs ?? null,
    startUtcMs: nightInfoOf(catalogue)?.startUtcMs ?? (0 as UtcMs),
    endUtcMs: options.endUtcMs ?? null,
  });
  const aside: string[] = [];
  for (const step of steps) {
    try {
      const path = await carryOut(step, catalogue, cameraId, camera);
      if (path !== null) aside.push(path);
    } catch (thrown) {
      problems.push(asNightError(thrown, "camera.frame_missing").message);
    }
  }
  return report(steps, catalogue, { cameraId, aside, problems });
}

async function listCard(
  camera: CardReader | null,
  problems: string[],
): Promise<readonly CardEntry[] | null> {
  if (camera === null) return null;
  try {
    return await camera.listCard();
  } catch (thrown) {
    problems.push(
      `The card could not be read (${asNightError(thrown).message}); frames on it are fetched when it can.`,
    );
    return null;
  }
}

/** @returns The path that was set aside, if one was. */
async function carryOut(
  step: ReconciliationStep,
  catalogue: Catalogue,
  cameraId: string,
  camera: CardReader | null,
): Promise<string | null> {
  const { nightDir } = catalogue;
  switch (step.kind) {
    case "setAside":
      return setAside(nightDir, step.path);
    case "markMissing": {
      const frame = catalogue.frame(cameraId, step.frameIndex)!;
      const reasons = [...frame.reasons, `missing: ${step.why}`];
      catalogue.putFrame({ ...frame, status: "missing", reasons });
      return null;
    }
    case "adopt": {
      const frame = catalogue.frame(cameraId, step.frameIndex)!;
      const bytes = onDisk(step.path, () => readFileSync(join(nightDir, step.path)));
      const file = { path: step.path, bytes: bytes.byteLength, sha256: sha256Of(bytes) };
      catalogue.putFrame(await recoveredFrame(frame, { file, card: step.card, bytes }));
      return null;
    }
    case "fetch":
    case "addFrame": {
      const bytes = await camera!.fetchFile(step.card.cameraHandle);
      const why =
        step.kind === "fetch" ? await doubtIn(step, { bytes, catalogue, cameraId }) : null;
      if (why !== null) {
        const foundUtcMs = utcMs(Date.now());
        await keepStray(catalogue, { cameraId, card: step.card, why, foundUtcMs }, bytes);
        return null;
      }
      const file = await keepFrameFile(nightDir, nameIn(step.path), bytes);
      const frame =
        step.kind === "fetch"
          ? catalogue.frame(cameraId, step.frameIndex)!
          : foundFrame(step, cameraId, await exposureOf(bytes, catalogue, cameraId));
      catalogue.putFrame(await recoveredFrame(frame, { file, card: step.card, bytes }));
      return null;
    }
  }
}

/** A busy computer may measure a bulb exposure by so much too long, seconds. Judgement. */
const TIMING_SLACK_SECONDS = 0.5;

/** Why a picture is not the frame's for which it was fetched, by what it says of itself. */
async function doubtIn(
  { frameIndex }: { readonly frameIndex: number },
  found: { readonly bytes: Uint8Array; readonly catalogue: Catalogue; readonly cameraId: string },
): Promise<string | null> {
  const reported = await exposureInFile(found.bytes);
  const frame = found.catalogue.frame(found.cameraId, frameIndex)!;
  return reported === null ? null : doubtOf(frame, reported, TIMING_SLACK_SECONDS);
}

function nameIn(path: string): string {
  return path.slice(FRAMES_FOLDER.length + 1);
}

function foundFrame(
  step: Extract<ReconciliationStep, { kind: "addFrame" }>,
  cameraId: string,
  exposure: Exposure,
): FrameRecord {
  return {
    frameIndex: step.frameIndex,
    cameraId,
    status: "taken",
    ordered: exposure,
    reasons: ["found on the card after a break"],
    targetStops: 0,
    openedUtcMs: step.openedUtcMs,
    happened: exposure,
    file: null,
    reading: null,
    pace: "full",
  };
}

/** What the file tells; a file that tells nothing has the exposure of the frame before it. */
async function exposureOf(
  bytes: Uint8Array,
  catalogue: Catalogue,
  cameraId: string,
): Promise<Exposure> {
  const newest = catalogue.newest(cameraId);
  return (
    (await exposureInFile(bytes)) ??
    newest?.happened ??
    newest?.ordered ?? { exposureSeconds: 1, iso: 100, fNumber: 1 }
  );
}

function filesOnDisk(nightDir: string, folder: string): DiskEntry[] {
  const frames = join(nightDir, FRAMES_FOLDER, folder);
  if (!existsSync(frames)) return [];
  return onDisk(frames, () =>
    readdirSync(frames, { withFileTypes: true })
      .filter((entry) => entry.isFile())
      .map((entry) => ({
        path: [FRAMES_FOLDER, folder, entry.name].filter((part) => part !== "").join("/"),
        bytes: statSync(join(frames, entry.name)).size,
      })),
  );
}

function report(
  steps: readonly ReconciliationStep[],
  catalogue: Catalogue,
  outcome: { cameraId: string; aside: readonly string[]; problems: readonly string[] },
): RecoveryReport {
  const indicesOf = (kind: "fetch" | "adopt" | "addFrame"): number[] =>
    steps.flatMap((step) => (step.kind === kind ? [step.frameIndex] : []));
  const isKept = (frameIndex: number): boolean =>
    catalogue.frame(outcome.cameraId, frameIndex)?.status === "kept";
  // What was fetched and is another picture lies among the strays.
  const fetched = indicesOf("fetch").filter(isKept);
  const [adopted, added] = [indicesOf("adopt"), indicesOf("addFrame")];
  const unmetered = [...fetched, ...adopted, ...added].filter((frameIndex) => {
    const frame = catalogue.frame(outcome.cameraId, frameIndex);
    return frame?.status === "kept" && frame.reading === null;
  });
  return {
    fetched,
    adopted,
    added,
    missing: steps.flatMap((step) =>
      step.kind === "markMissing" ? [{ frameIndex: step.frameIndex, why: step.why }] : [],
    ),
    setAside: outcome.aside,
    problems: outcome.problems,
    unmetered: unmetered.sort((a, b) => a - b),
  };
}
