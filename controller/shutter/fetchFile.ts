import { NightError } from "../../core/errors.ts";
import type { ByteRange } from "../../core/metadata/fileSearch.ts";
import { whenThereIsRoom, type CameraTask, type CameraTaskTools } from "./cameraTask.ts";
import { SMALL_PIECE_BYTES } from "./linkSpeed.ts";

/** Sizes that mean "not known". Source: MTP 1.1 §5.3.1 for the larger; some cameras write 0. */
const UNKNOWN_BYTES = [0, 0xffffffff];
/** Files beyond this are no pictures of ours. */
const FILE_BYTES_MAX = 512 * 1024 * 1024;

/**
 * A stretch of a file, in pieces that are over before the shutter moves. Shorter than asked when
 * the file ends there.
 */
export async function* fetchRange(
  tools: CameraTaskTools,
  handle: number,
  range: ByteRange,
): CameraTask<Uint8Array> {
  let bytes = new Uint8Array(range.bytes);
  let filled = 0;
  while (filled < range.bytes) {
    const piece = yield* fetchPiece(tools, handle, {
      offset: range.offset + filled,
      bytes: range.bytes - filled,
    });
    if (piece.length === 0) break;
    bytes.set(piece.subarray(0, range.bytes - filled), filled);
    filled = Math.min(filled + piece.length, range.bytes);
  }
  if (filled < range.bytes) bytes = bytes.slice(0, filled);
  return bytes;
}

/** Whether a size that a camera tells means anything. */
export function isKnownSize(bytes: number): boolean {
  return !UNKNOWN_BYTES.includes(bytes);
}

/** A whole file; of a file whose size the camera does not know, as much as there is. */
export async function* fetchWhole(
  tools: CameraTaskTools,
  handle: number,
  announcedBytes: number,
): CameraTask<Uint8Array> {
  if (isKnownSize(announcedBytes)) {
    return yield* fetchRange(tools, handle, { offset: 0, bytes: announcedBytes });
  }
  const pieces: Uint8Array[] = [];
  for (let offset = 0; ;) {
    const piece = yield* fetchPiece(tools, handle, { offset, bytes: SMALL_PIECE_BYTES });
    pieces.push(piece);
    offset += piece.length;
    // A short piece ends nothing: some cameras send less than they were asked for.
    if (piece.length === 0) return new Uint8Array(Buffer.concat(pieces));
    if (offset > FILE_BYTES_MAX) {
      throw new NightError("ptp.malformed", "a file on the card has no end", { handle, offset });
    }
  }
}

async function* fetchPiece(
  tools: CameraTaskTools,
  handle: number,
  wanted: ByteRange,
): CameraTask<Uint8Array> {
  const { session, speed } = tools;
  const { nowMs } = session.time;
  return yield* whenThereIsRoom(
    tools,
    async (options, budgetMs) => {
      const bytes = Math.min(speed.bytesWithin(budgetMs), wanted.bytes);
      const startMs = nowMs();
      const piece = await session.getPartialObject(
        handle,
        { offset: wanted.offset, bytes },
        options,
      );
      speed.notePiece({ bytes: piece.length, durationMs: nowMs() - startMs });
      return piece;
    },
    () => speed.msFor(Math.min(SMALL_PIECE_BYTES, wanted.bytes)),
  );
}
