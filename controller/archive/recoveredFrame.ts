import type { CardEntry } from "../../core/frames/reconcile.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { exposureInFile } from "../imageExif.ts";
import type { KeptFile } from "./frameFiles.ts";

/**
 * What a frame becomes when its file has been found after a break: kept, and with the exposure that
 * the file itself tells where the night had not seen the shutter close.
 *
 * @param card  Where it lay on the card; null: it was found on the disk.
 */
export async function recoveredFrame(
  frame: FrameRecord,
  found: {
    readonly file: KeptFile;
    readonly card: CardEntry | null;
    readonly bytes: Uint8Array;
  },
): Promise<FrameRecord> {
  const { file, card, bytes } = found;
  return {
    ...frame,
    status: "kept",
    happened: frame.happened ?? (await exposureInFile(bytes)),
    file: {
      ...file,
      cameraName: card?.cameraName ?? frame.file?.cameraName ?? "",
      cameraHandle: card?.cameraHandle ?? frame.file?.cameraHandle ?? null,
    },
  };
}
