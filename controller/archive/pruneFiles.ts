import { unlink } from "node:fs/promises";
import { join } from "node:path";
import { PRUNED_REASON } from "../../core/frames/reconcile.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { archiveError } from "./archiveError.ts";
import type { Catalogue } from "./catalogue.ts";
import { keyOf } from "./frameKey.ts";
import type { FileWork } from "./keptFiles.ts";
import { isJpegName } from "./originals.ts";

/**
 * Which previews may go: `sentinel`: of frames at sentinel pace; `unpicked`: of every frame that
 * the photographer did not pick. A pick is never pruned.
 */
type PruneRule = "sentinel" | "unpicked";

type Pruning = { readonly frameIndices: readonly number[]; readonly bytes: number };

/** What a rule would delete; deletes nothing. */
export function pruneOutlook(catalogue: Catalogue, rule: PruneRule): Pruning {
  return pruningOf(framesToPrune(catalogue, rule));
}

/**
 * Deletes previews by a rule, never by itself and never a raw file. The frames' rows stay, with
 * everything known of them, and say that the file was pruned.
 */
export async function pruneFiles(
  catalogue: Catalogue,
  rule: PruneRule,
  work: FileWork,
): Promise<Pruning> {
  const doomed = framesToPrune(catalogue, rule);
  for (const frame of doomed) {
    work.signal.throwIfAborted();
    // The row first: a break in between leaves a file too many, not a row that lies.
    catalogue.putFrame({
      ...frame,
      status: "missing",
      reasons: [...frame.reasons, PRUNED_REASON],
    });
    const path = join(catalogue.nightDir, frame.file!.path);
    await unlink(path).catch((thrown: NodeJS.ErrnoException) => {
      if (thrown.code !== "ENOENT") throw archiveError(thrown, path);
    });
    work.onFile(frame.file!.bytes);
  }
  return pruningOf(doomed);
}

function framesToPrune(catalogue: Catalogue, rule: PruneRule): readonly FrameRecord[] {
  const picked = new Set(
    catalogue
      .picks()
      .filter((pick) => pick.pick === "keep")
      .map(keyOf),
  );
  const isDoomed = (frame: FrameRecord): boolean =>
    frame.status === "kept" &&
    frame.file !== null &&
    isJpegName(frame.file.path) &&
    !picked.has(keyOf(frame)) &&
    (rule === "unpicked" || frame.pace === "sentinel");
  return catalogue.frames({ fromIndex: 0, count: Number.MAX_SAFE_INTEGER }).filter(isDoomed);
}

function pruningOf(doomed: readonly FrameRecord[]): Pruning {
  return {
    frameIndices: doomed.map((frame) => frame.frameIndex),
    bytes: doomed.reduce((sum, frame) => sum + frame.file!.bytes, 0),
  };
}
