import { existsSync, readFileSync } from "node:fs";
import { join } from "node:path";
import type { DeliverOrder } from "../../core/api/deliverMessages.ts";
import { NightError } from "../../core/errors.ts";
import { sha256Of } from "../archive/frameFiles.ts";
import { writeDurably } from "../durableWrite.ts";
import type { ReadySet } from "./readySet.ts";

/** Remembers what a delivery was of, so that a broken-off one can go on. */
const MANIFEST_FILE = "delivery.json";

type Manifest = { readonly version: 1; readonly fingerprint: string; readonly isWhole: boolean };

/**
 * Whether to go on with what an earlier delivery left here: it was asked for, and is of the same
 * order, frames and corrections.
 *
 * @throws NightError `deliver.failed` when what lies here is of another delivery.
 */
export function isGoneOnWith(
  outDir: string,
  order: DeliverOrder,
  sets: readonly ReadySet[],
): boolean {
  const present = order.resume ? readManifest(outDir) : null;
  if (present === null || present.fingerprint === fingerprintOf(order, sets)) {
    return present !== null;
  }
  throw new NightError(
    "deliver.failed",
    `What lies in ${outDir} was delivered with other options or other frames; deliver without --resume to begin again.`,
  );
}

/** Writes down what is being delivered. */
export async function beginManifest(
  outDir: string,
  order: DeliverOrder,
  sets: readonly ReadySet[],
): Promise<void> {
  const fingerprint = fingerprintOf(order, sets);
  await writeManifest(outDir, { version: 1, fingerprint, isWhole: false });
}

export async function finishManifest(outDir: string): Promise<void> {
  const present = readManifest(outDir);
  if (present !== null) await writeManifest(outDir, { ...present, isWhole: true });
}

function fingerprintOf(order: DeliverOrder, sets: readonly ReadySet[]): string {
  const text = JSON.stringify({
    order: { ...order, resume: false },
    frames: sets.map(({ frames, corrections }) =>
      frames.map((frame, n) => [frame.file!.sha256, corrections[n]!.totalStops.toFixed(4)]),
    ),
  });
  return sha256Of(new TextEncoder().encode(text));
}

async function writeManifest(outDir: string, manifest: Manifest): Promise<void> {
  await writeDurably(join(outDir, MANIFEST_FILE), `${JSON.stringify(manifest, null, 2)}\n`);
}

function readManifest(outDir: string): Manifest | null {
  const path = join(outDir, MANIFEST_FILE);
  if (!existsSync(path)) return null;
  try {
    const manifest = JSON.parse(readFileSync(path, "utf8")) as Partial<Manifest>;
    return typeof manifest.fingerprint === "string" ? (manifest as Manifest) : null;
  } catch {
    // A damaged note is no note: everything is made again.
    return null;
  }
}
