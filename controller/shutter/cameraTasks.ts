import { asNightError, NightError } from "../../core/errors.ts";
import { freeBytesOf, freeImagesOf } from "../../core/ptp/datasets/storageInfo.ts";
import type { ObjectInfo } from "../../core/ptp/datasets/objectInfo.ts";
import { FORMATS } from "../../core/ptp/formats.ts";
import { operationOfCode, OPERATIONS } from "../../core/ptp/operations.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import type { MonotonicMs } from "../../core/units.ts";
import type { CameraEvent, CardFile } from "../cameras/camera.ts";
import type { CameraControls, EventPoll } from "../../core/profiles/cameraControls.ts";
import { readEventRecords, type PolledEvent } from "../../core/profiles/eventRecords.ts";
import { ownedBytes, type OwnedBytes } from "../workers/ownedBytes.ts";
import type { CameraLink } from "./cameraLink.ts";
import { whenThereIsRoom, type CameraTask } from "./cameraTask.ts";
import { fetchRange, fetchWhole, isKnownSize } from "./fetchFile.ts";
import { fetchInfo, fetchPreview, isPicture } from "./fetchPreview.ts";
import type { FromShutter, ToShutter } from "./shutterMessages.ts";

/** How a task speaks to the night. */
type Reports = {
  tell(event: CameraEvent): void;
  nightNow(): MonotonicMs;
};

/** A file that the camera named, with what happens once its description is here. */
export type Unplaced = {
  readonly handle: number;
  readonly place: (info: ObjectInfo) => void;
  /** Its description cannot be had. */
  readonly fail: (error: NightError) => void;
};

/**
 * Asks what the named files are, strictly in the order in which the camera named them: only that
 * order tells a frame's second file from the next frame's first.
 *
 * @param next  The file to ask for now; null: there is none left.
 */
export async function* identifyTask(link: CameraLink, next: () => Unplaced | null): CameraTask {
  for (let file = next(); file !== null; file = next()) {
    try {
      file.place(yield* fetchInfo(link, file.handle));
    } catch (thrown) {
      const error = asNightError(thrown);
      if (error.code === "camera.gone" || error.code === "invariant.violated") throw error;
      file.fail(error);
    }
  }
}

/**
 * Brings a frame's picture.
 *
 * @param frame.info  The file's description, where it is known already.
 * @returns through `onOther` when the object is no picture.
 * @throws NightError `camera.frame_missing` and whatever the camera answers.
 */
export async function* frameTask(
  link: CameraLink,
  frame: {
    readonly frameIndex: number;
    readonly handle: number;
    readonly info: ObjectInfo | null;
    readonly isProved: boolean;
  },
  controls: CameraControls,
  callbacks: Reports & { readonly onOther: () => void },
): CameraTask {
  const { frameIndex, handle, isProved } = frame;
  const info = frame.info ?? (yield* fetchInfo(link, handle));
  if (!isPicture(info)) return callbacks.onOther();
  const preview = yield* fetchPreview(
    link,
    { handle, info },
    {
      wholeJpegBytesMax: controls.wholeJpegBytesMax,
      canReadPieces: link.can(OPERATIONS.GetPartialObject.code),
      order: controls.previewOrder,
    },
  );
  callbacks.tell({
    kind: "frameArrived",
    frameIndex,
    atMs: callbacks.nightNow(),
    cameraName: info.filename,
    cameraHandle: handle,
    captureDate: info.captureDate,
    jpeg: ownedBytes(preview.jpeg),
    isOriginal: preview.isOriginal,
    isProved,
  });
}

/** Battery and card, each on its own: one that cannot be read leaves the other. */
export async function* statusTask(link: CameraLink, reports: Reports): CameraTask {
  const batteryPercent = yield* orNull(
    whenThereIsRoom(link, async () => await link.properties.readBatteryPercent()),
  );
  const storageIds = yield* orNull(
    whenThereIsRoom(link, async (options) => await link.session.getStorageIds(options)),
  );
  let freeBytes: number | null = null;
  let freeFrames: number | null = null;
  for (const storageId of storageIds ?? []) {
    const info = yield* orNull(
      whenThereIsRoom(
        link,
        async (options) => await link.session.getStorageInfo(storageId, options),
      ),
    );
    freeBytes = sum(freeBytes, info && freeBytesOf(info));
    freeFrames = sum(freeFrames, info && freeImagesOf(info));
  }
  reports.tell({ kind: "status", atMs: reports.nightNow(), batteryPercent, freeBytes, freeFrames });
}

/** Sets what an exposure asks for, while nothing is being exposed. */
export async function* settingsTask(
  link: CameraLink,
  wanted: { readonly requestId: number; readonly exposure: Exposure },
  tell: (message: FromShutter) => void,
): CameraTask {
  const { requestId, exposure } = wanted;
  const { iso, fNumber } = link.controls;
  yield* whenThereIsRoom(link, async () => await link.properties.setTo(iso, exposure.iso));
  yield* whenThereIsRoom(link, async () => await link.properties.setTo(fNumber, exposure.fNumber));
  tell({
    kind: "prepared",
    requestId,
    exposure: {
      exposureSeconds: exposure.exposureSeconds,
      iso: link.properties.settingOf(iso) ?? exposure.iso,
      fNumber: link.properties.settingOf(fNumber) ?? exposure.fNumber,
    },
  });
}

/** Everything on the card but folders. */
export async function* cardTask(
  link: CameraLink,
  requestId: number,
  tell: (message: FromShutter) => void,
): CameraTask {
  const handles = yield* whenThereIsRoom(
    link,
    async (options) => await link.session.getObjectHandles(options),
  );
  const files: CardFile[] = [];
  for (const handle of handles) {
    const info = yield* orNull(fetchInfo(link, handle));
    if (info === null || info.objectFormat === FORMATS.Association) continue;
    files.push({
      cameraHandle: handle,
      cameraName: info.filename,
      bytes: info.objectCompressedSize,
      captureDate: info.captureDate,
    });
  }
  tell({ kind: "card", requestId, files });
}

/** A whole file from the card, checked for its length. */
export async function* fileTask(
  link: CameraLink,
  wanted: { readonly requestId: number; readonly cameraHandle: number },
  tell: (message: FromShutter, handedOver: readonly OwnedBytes[]) => void,
): CameraTask {
  const { requestId, cameraHandle } = wanted;
  const info = yield* fetchInfo(link, cameraHandle);
  const file = link.can(OPERATIONS.GetPartialObject.code)
    ? yield* fetchWhole(link, cameraHandle, info.objectCompressedSize)
    : yield* whenThereIsRoom(
        link,
        async (options) => await link.session.getObject(cameraHandle, options),
        () => link.speed.msFor(info.objectCompressedSize),
      );
  if (isKnownSize(info.objectCompressedSize) && file.length !== info.objectCompressedSize) {
    throw new NightError("ptp.truncated", `${info.filename} came with the wrong length`, {
      bytes: file.length,
      announcedBytes: info.objectCompressedSize,
    });
  }
  const bytes = ownedBytes(file);
  tell({ kind: "file", requestId, bytes }, [bytes]);
}

/** A stretch of a file, with the file's name and size, so that nobody goes on with another file. */
export async function* pieceTask(
  link: CameraLink,
  wanted: Extract<ToShutter, { kind: "fetchPiece" }>,
  tell: (message: FromShutter, handedOver: readonly OwnedBytes[]) => void,
): CameraTask {
  const { requestId, cameraHandle, range } = wanted;
  const info = yield* fetchInfo(link, cameraHandle);
  const totalBytes = info.objectCompressedSize;
  if (!link.can(OPERATIONS.GetPartialObject.code)) {
    throw new NightError("camera.unsupported", "This camera does not send files in pieces.");
  }
  const bytesMax = Math.max(0, Math.min(range.bytes, totalBytes - range.offset));
  const stretch = { offset: range.offset, bytes: bytesMax };
  const bytes = ownedBytes(
    bytesMax === 0 ? new Uint8Array() : yield* fetchRange(link, cameraHandle, stretch),
  );
  const piece = { bytes, totalBytes, cameraName: info.filename };
  tell({ kind: "piece", requestId, piece }, [bytes]);
}

/** The handles that are on the card now; none when the camera cannot say. */
export async function* comparisonTask(
  link: CameraLink,
  compare: (handles: readonly number[]) => void,
): CameraTask {
  const handles = yield* orNull(
    whenThereIsRoom(link, async (options) => await link.session.getObjectHandles(options)),
  );
  compare(handles ?? []);
}

/** Asks a camera for the events that it does not send by itself. */
export async function* pollTask(
  link: CameraLink,
  poll: EventPoll,
  hear: (event: PolledEvent) => void,
): CameraTask {
  const operation = operationOfCode(poll.operation, "toInitiator");
  const answered = yield* orNull(
    whenThereIsRoom(link, async (options) => await link.session.run(operation, [], options)),
  );
  for (const event of readEventRecords(answered?.data ?? new Uint8Array(0), poll.layout)) {
    hear(event);
  }
}

async function* orNull<T>(task: CameraTask<T>): CameraTask<T | null> {
  try {
    return yield* task;
  } catch (thrown) {
    const error = asNightError(thrown);
    if (error.code === "camera.gone" || error.code === "invariant.violated") throw error;
    return null;
  }
}

function sum(total: number | null, value: number | null): number | null {
  return value === null ? total : (total ?? 0) + value;
}
