import { createHash } from "node:crypto";
import { createReadStream, mkdirSync } from "node:fs";
import { appendFile, open, stat } from "node:fs/promises";
import { dirname } from "node:path";
import { pipeline } from "node:stream/promises";
import { NightError } from "../../../core/errors.ts";
import { PART_ENDING, renameDurably } from "../../durableWrite.ts";
import type { FilePiece } from "../camera.ts";

/** What is lost at most when the program is killed; the timing thread cuts it further. */
const PIECE_BYTES = 1024 * 1024;
/** Read from the card once more at the end, from the file's start, middle and end. */
const PROOF_BYTES = 64 * 1024;
const PROOF_SHARES = [0, 0.5, 1];

/** A file on a card, read by stretches. */
type FileOnCard = {
  readonly cameraName: string;
  readonly read: (range: { readonly offset: number; readonly bytes: number }) => Promise<FilePiece>;
};

/** A file as it was kept. */
export type KeptOriginal = { readonly bytes: number; readonly sha256: string };

/**
 * Fetches a file whole. What an earlier attempt fetched is gone on with; the target's name is given
 * only when everything is there and stretches of it, read once more, are the same.
 *
 * @param isEnded  Asked between pieces; true: what has come is left for the next time.
 * @throws NightError `camera.gone` when ended, `camera.frame_missing` when the card holds another
 *   file there, `ptp.truncated` when it differs: it is then begun again the next time.
 */
export async function fetchOriginal(
  file: FileOnCard,
  target: string,
  isEnded: () => boolean,
): Promise<KeptOriginal> {
  const part = `${target}${PART_ENDING}`;
  mkdirSync(dirname(target), { recursive: true });
  let have = await bytesOf(part);
  for (;;) {
    if (isEnded()) throw new NightError("camera.gone", "The fetching was ended.");
    const { bytes, totalBytes } = await readSame(file, { offset: have, bytes: PIECE_BYTES });
    await appendFile(part, bytes, { flush: true } as object);
    have += bytes.length;
    if (have >= totalBytes) break;
    if (bytes.length === 0) throw new NightError("ptp.truncated", "The file ended early.");
  }
  await prove(part, file, have);
  const sha256 = await sha256OfFile(part);
  await renameDurably(part, target);
  return { bytes: have, sha256 };
}

/** A file that differs is begun again. */
async function prove(part: string, file: FileOnCard, totalBytes: number): Promise<void> {
  const kept = await open(part, "r+");
  try {
    for (const share of PROOF_SHARES) {
      const offset = Math.floor(Math.max(0, totalBytes - PROOF_BYTES) * share);
      const piece = await readSame(file, { offset, bytes: PROOF_BYTES });
      const again = Buffer.alloc(piece.bytes.length);
      await kept.read(again, 0, again.length, offset);
      const { size } = await kept.stat();
      if (size === piece.totalBytes && again.equals(piece.bytes)) continue;
      await kept.truncate(0);
      throw new NightError("ptp.truncated", "The fetched file is not the one on the card.");
    }
  } finally {
    await kept.close();
  }
}

async function readSame(
  file: FileOnCard,
  range: { readonly offset: number; readonly bytes: number },
): Promise<FilePiece> {
  const piece = await file.read(range);
  if (piece.cameraName === file.cameraName) return piece;
  throw new NightError("camera.frame_missing", "The camera gave the handle to another file.");
}

async function sha256OfFile(path: string): Promise<string> {
  const hash = createHash("sha256");
  await pipeline(createReadStream(path), hash);
  return hash.digest("hex");
}

async function bytesOf(file: string): Promise<number> {
  try {
    return (await stat(file)).size;
  } catch {
    return 0;
  }
}
