import { NightError } from "../../core/errors.ts";
import {
  searchBytes,
  stretchOf,
  type ByteRange,
  type FileSearch,
} from "../../core/metadata/fileSearch.ts";
import { startsAsJpeg } from "../../core/metadata/jpegMarkers.ts";
import { findLargestJpeg } from "../../core/metadata/rawPreview.ts";
import type { ObjectInfo } from "../../core/ptp/datasets/objectInfo.ts";
import { FORMATS, isImageFormat } from "../../core/ptp/formats.ts";
import type { PreviewSource } from "../../core/profiles/cameraControls.ts";
import { RESPONSES } from "../../core/ptp/responses.ts";
import { isResponse } from "../cameras/ptpSession.ts";
import { after, whenThereIsRoom, type CameraTask, type CameraTaskTools } from "./cameraTask.ts";
import { fetchRange, fetchWhole, isKnownSize } from "./fetchFile.ts";

/** In which order a picture is looked for, and how. */
type PreviewOptions = {
  readonly wholeJpegBytesMax: number;
  readonly canReadPieces: boolean;
  readonly order: readonly PreviewSource[];
};

/** A picture to keep and to meter. */
type Preview = { readonly jpeg: Uint8Array; readonly isOriginal: boolean };

const INFO_ATTEMPTS = 5;
const INFO_PAUSE_MS = 150;
/** A thumbnail's size when the camera does not say. DCF thumbnails are at most 64 KiB. */
const THUMB_BYTES = 64 * 1024;

/** An object's description; a file that is not closed yet is asked for again a few times. */
export async function* fetchInfo(tools: CameraTaskTools, handle: number): CameraTask<ObjectInfo> {
  for (let attempt = 1; ; attempt += 1) {
    try {
      return yield* whenThereIsRoom(
        tools,
        async (options) => await tools.session.getObjectInfo(handle, options),
      );
    } catch (thrown) {
      const isUnfinished =
        isResponse(thrown, RESPONSES.InvalidObjectHandle) ||
        isResponse(thrown, RESPONSES.GeneralError);
      if (!isUnfinished || attempt >= INFO_ATTEMPTS) throw thrown;
      yield* after(tools, INFO_PAUSE_MS);
    }
  }
}

/**
 * The picture of a frame from the first source that has one, in the order of the camera's profile:
 * by rising cost where it knows nothing better.
 *
 * @throws NightError `camera.frame_missing` when the camera offers none of them.
 */
export async function* fetchPreview(
  tools: CameraTaskTools,
  object: { readonly handle: number; readonly info: ObjectInfo },
  options: PreviewOptions,
): CameraTask<Preview> {
  const { handle, info } = object;
  for (const source of options.order) {
    const preview = yield* fetchFrom(source, tools, object, options);
    if (preview !== null) return preview;
  }
  throw new NightError("camera.frame_missing", `the camera offers no preview of ${info.filename}`, {
    handle,
  });
}

async function* fetchFrom(
  source: PreviewSource,
  tools: CameraTaskTools,
  object: { readonly handle: number; readonly info: ObjectInfo },
  options: PreviewOptions,
): CameraTask<Preview | null> {
  const { handle, info } = object;
  const { wholeJpegBytesMax } = options;
  switch (source) {
    case "moderateJpeg": {
      const isModerate = isJpeg(info) && info.objectCompressedSize <= wholeJpegBytesMax;
      return isModerate ? yield* fetchOriginal(tools, object, options) : null;
    }
    case "anyJpeg":
      return isJpeg(info) ? yield* fetchOriginal(tools, object, options) : null;
    case "thumbnail":
      return asPreview(yield* fetchThumb(tools, handle, info));
    case "embeddedJpeg":
      if (isJpeg(info)) return null;
      return asPreview(yield* fetchEmbedded(tools, object, options));
  }
}

function asPreview(jpeg: Uint8Array | null): Preview | null {
  return jpeg === null ? null : { jpeg, isOriginal: false };
}

async function* fetchOriginal(
  tools: CameraTaskTools,
  object: { readonly handle: number; readonly info: ObjectInfo },
  options: PreviewOptions,
): CameraTask<Preview> {
  const jpeg = yield* fetchFile(tools, object, options);
  if (!startsAsJpeg(jpeg)) {
    throw new NightError(
      "camera.frame_missing",
      `${object.info.filename} is not the JPEG it claims to be`,
    );
  }
  return { jpeg, isOriginal: true };
}

/** A file in pieces, or at once where the camera gives no pieces. */
async function* fetchFile(
  tools: CameraTaskTools,
  { handle, info }: { readonly handle: number; readonly info: ObjectInfo },
  { canReadPieces, wholeJpegBytesMax }: PreviewOptions,
): CameraTask<Uint8Array> {
  if (canReadPieces) {
    try {
      return yield* fetchWhole(tools, handle, info.objectCompressedSize);
    } catch (thrown) {
      // Some cameras offer pieces and then refuse every one.
      if (!(thrown instanceof NightError && thrown.code === "ptp.response")) throw thrown;
    }
  }
  const { objectCompressedSize } = info;
  const bytes = isKnownSize(objectCompressedSize) ? objectCompressedSize : wholeJpegBytesMax;
  return yield* whenThereIsRoom(
    tools,
    async (limits) => await tools.session.getObject(handle, limits),
    () => tools.speed.msFor(bytes),
  );
}

/** Responses that mean: this object has no thumbnail, in the words of different cameras. */
const NO_THUMB = [
  RESPONSES.NoThumbnailPresent,
  RESPONSES.GeneralError,
  RESPONSES.OperationNotSupported,
  RESPONSES.InvalidObjectFormatCode,
];

async function* fetchThumb(
  tools: CameraTaskTools,
  handle: number,
  info: ObjectInfo,
): CameraTask<Uint8Array | null> {
  try {
    const thumb = yield* whenThereIsRoom(
      tools,
      async (options) => await tools.session.getThumb(handle, options),
      () => tools.speed.msFor(info.thumbCompressedSize || THUMB_BYTES),
    );
    return startsAsJpeg(thumb) ? thumb : null;
  } catch (thrown) {
    if (NO_THUMB.some((code) => isResponse(thrown, code))) return null;
    throw thrown;
  }
}

/** By the few stretches that it takes, or out of the whole file where pieces cannot be had. */
async function* fetchEmbedded(
  tools: CameraTaskTools,
  object: { readonly handle: number; readonly info: ObjectInfo },
  options: PreviewOptions,
): CameraTask<Uint8Array | null> {
  const { handle, info } = object;
  if (options.canReadPieces) {
    const size = isKnownSize(info.objectCompressedSize) ? info.objectCompressedSize : 0xffffffff;
    try {
      const found = yield* answerSearch(tools, handle, findLargestJpeg(size));
      return found === null ? null : yield* fetchRange(tools, handle, found);
    } catch (thrown) {
      if (!(thrown instanceof NightError && thrown.code === "ptp.response")) throw thrown;
    }
  }
  const file = yield* fetchFile(tools, object, { ...options, canReadPieces: false });
  const found = searchBytes(file, findLargestJpeg(file.length));
  return found === null ? null : stretchOf(file, found);
}

/** Lets a pure search read from the camera. */
async function* answerSearch<T>(
  tools: CameraTaskTools,
  handle: number,
  search: FileSearch<T>,
): CameraTask<T> {
  let step: IteratorResult<ByteRange, T> = search.next();
  while (!step.done) step = search.next(yield* fetchRange(tools, handle, step.value));
  return step.value;
}

function isJpeg(info: ObjectInfo): boolean {
  return (
    info.objectFormat === FORMATS.ExifJpeg ||
    info.objectFormat === FORMATS.Jfif ||
    /\.jpe?g$/i.test(info.filename)
  );
}

/** Raw files that come without an image's format or measures are at least this large; judgement. */
const NAMELESS_PICTURE_BYTES = 1024 * 1024;

/** Whether an object can be a frame's picture, and not a folder, a sound or a note beside it. */
export function isPicture(info: ObjectInfo): boolean {
  if (info.objectFormat === FORMATS.Association) return false;
  if (isImageFormat(info.objectFormat) || isJpeg(info) || info.imagePixWidth > 0) return true;
  const isNameless = info.objectFormat === FORMATS.Undefined || info.objectFormat >= 0xb000;
  return isNameless && info.objectCompressedSize >= NAMELESS_PICTURE_BYTES;
}
