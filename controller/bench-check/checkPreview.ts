import { OPERATIONS } from "../../core/ptp/operations.ts";
import { NightError } from "../../core/errors.ts";
import { realMs } from "../timing/clock.ts";
import type { CameraLink } from "../shutter/cameraLink.ts";
import type { PreviewFigures } from "./benchFigures.ts";

/** Files beyond this are not fetched whole only to see how long it takes. */
const WHOLE_FILE_BYTES_MAX = 64 * 1024 * 1024;
const PIECE_BYTES = 64 * 1024;
const BUSY = { busyMsMax: 5_000 };

/** How a frame's file, its thumbnail and pieces of it come over the cable, and how fast. */
export async function checkPreview(link: CameraLink, handle: number): Promise<PreviewFigures> {
  const { session } = link;
  const info = await session.getObjectInfo(handle, BUSY);
  const thumb = await timed(async () => await session.getThumb(handle, BUSY));
  const readsPieces =
    link.can(OPERATIONS.GetPartialObject.code) &&
    (await timed(async () => {
      return await session.getPartialObject(handle, { offset: 1, bytes: PIECE_BYTES }, BUSY);
    })) !== null;
  const isFetched = info.objectCompressedSize <= WHOLE_FILE_BYTES_MAX;
  const file = isFetched ? await timed(async () => await session.getObject(handle, BUSY)) : null;
  return {
    filename: info.filename,
    fileBytes: file?.bytes ?? info.objectCompressedSize,
    fileMs: file?.ms ?? null,
    thumbBytes: thumb?.bytes ?? null,
    thumbMs: thumb?.ms ?? null,
    readsPieces,
  };
}

/** Null when the camera refuses. */
async function timed(
  fetch: () => Promise<Uint8Array>,
): Promise<{ readonly bytes: number; readonly ms: number } | null> {
  const startMs = realMs();
  try {
    const { length: bytes } = await fetch();
    return { bytes, ms: realMs() - startMs };
  } catch (thrown) {
    if (thrown instanceof NightError && thrown.code === "ptp.response") return null;
    throw thrown;
  }
}
