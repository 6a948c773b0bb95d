/** A worker thread that measures and renders frames, one after another. */
import { readFile } from "node:fs/promises";
import { parentPort } from "node:worker_threads";
import sharp from "sharp";
import { asNightError } from "../../core/errors.ts";
import { encodeExif, withExif } from "../../core/metadata/exif.ts";
import { measurePixels } from "../../core/frames/frameMeasure.ts";
import { frameGain, type FrameGain } from "../../core/frames/frameGain.ts";
import { withTiffExif } from "../../core/metadata/tiffExif.ts";
import { sha256Of } from "../archive/frameFiles.ts";
import { writeDurably } from "../durableWrite.ts";
import { postOwned } from "../workers/ownedBytes.ts";
import { decodePicture, readPicture, type Picture, middleColumn } from "./pixels.ts";
import { applyGain8, applyGain16 } from "./applyGain.ts";
import type { FrameAnswer, FrameTask, TrailPart } from "./frameTasks.ts";

// One thread a picture: the pool is as wide as the machine.
sharp.concurrency(1);
sharp.cache(false);

/** Height that a keogram's column is kept at. */
const COLUMN_PX = 480;
const THUMBNAIL_PX = 320;

/** Fine enough that an 8-bit sequence loses nothing that its source had; common practice, no source. */
const JPEG_QUALITY = 93;

let trail: TrailPart | null = null;

async function perform(task: FrameTask): Promise<FrameAnswer> {
  switch (task.kind) {
    case "measure":
      return measure(task);
    case "render":
      return render(task);
    case "trail":
      addToTrail(await readPicture(task.path));
      return { kind: "added" };
    case "takeTrail": {
      const part = trail;
      trail = null;
      return { kind: "trailPart", part };
    }
  }
}

async function measure(task: Extract<FrameTask, { kind: "measure" }>): Promise<FrameAnswer> {
  const bytes = await readFile(task.path).catch((thrown: NodeJS.ErrnoException) => {
    if (thrown.code === "ENOENT") return null;
    throw thrown;
  });
  if (bytes === null) return { kind: "absent" };
  const sha256 = sha256Of(bytes);
  if (sha256 !== task.sha256) return { kind: "altered", sha256 };
  try {
    const picture = await decodePicture(bytes, task.path);
    const { rgb, widthPx, heightPx } = picture;
    const frame = {
      measure: measurePixels(rgb, widthPx, heightPx, task.response),
      column: middleColumn(picture, COLUMN_PX),
      thumbnailJpeg: await thumbnail(picture),
    };
    return { kind: "measured", frame };
  } catch (thrown) {
    return { kind: "unreadable", sentence: asNightError(thrown).message };
  }
}

function thumbnail({ rgb, widthPx, heightPx }: Picture): Promise<Uint8Array> {
  return sharp(rgb, { raw: { width: widthPx, height: heightPx, channels: 3 } })
    .resize({ width: THUMBNAIL_PX, height: THUMBNAIL_PX, fit: "inside", withoutEnlargement: true })
    .jpeg({ quality: 80 })
    .toBuffer();
}

async function render(task: Extract<FrameTask, { kind: "render" }>): Promise<FrameAnswer> {
  const source = await readPicture(task.path);
  const picture = task.box === null ? source : await fitInto(source, task.box);
  const gain = frameGain(task.gainStops, task.response);
  const bytes =
    task.format === "tiff16"
      ? await encodeTiff16(picture, gain, task)
      : await encodeJpeg(picture, gain, task);
  // Whole or not there: a delivery that is broken off goes on from the frames that are whole.
  await writeDurably(task.outPath, bytes);
  return { kind: "rendered", bytes: bytes.byteLength };
}

async function encodeJpeg(
  picture: Picture,
  gain: FrameGain,
  task: Extract<FrameTask, { kind: "render" }>,
): Promise<Uint8Array> {
  const { widthPx, heightPx } = picture;
  const rgb = applyGain8(picture.rgb, gain, task.ditherSeed);
  if (task.trail) addToTrail({ rgb, widthPx, heightPx });
  const jpeg = await sharp(rgb, { raw: { width: widthPx, height: heightPx, channels: 3 } })
    .jpeg({ quality: JPEG_QUALITY, chromaSubsampling: "4:4:4", optimiseCoding: false })
    .withXmp(task.xmp)
    .toBuffer();
  return withExif(jpeg, encodeExif({ ...task.exif, widthPx, heightPx, thumbnail: null }));
}

async function encodeTiff16(
  picture: Picture,
  gain: FrameGain,
  task: Extract<FrameTask, { kind: "render" }>,
): Promise<Uint8Array> {
  const { widthPx, heightPx } = picture;
  if (task.trail) addToTrail({ ...picture, rgb: applyGain8(picture.rgb, gain, task.ditherSeed) });
  const rgb = applyGain16(picture.rgb, gain);
  const tiff = await sharp(rgb, { raw: { width: widthPx, height: heightPx, channels: 3 } })
    .toColourspace("rgb16")
    // Of the lossless ways the one that TIFF 6.0 itself has.
    .tiff({ compression: "lzw", predictor: "horizontal" })
    .withXmp(task.xmp)
    .toBuffer();
  return withTiffExif(tiff, { ...task.exif, widthPx, heightPx, thumbnail: null });
}

async function fitInto(
  { rgb, widthPx, heightPx }: Picture,
  box: { widthPx: number; heightPx: number },
): Promise<Picture> {
  if (widthPx <= box.widthPx && heightPx <= box.heightPx) return { rgb, widthPx, heightPx };
  const { data, info } = await sharp(rgb, {
    raw: { width: widthPx, height: heightPx, channels: 3 },
  })
    .resize({ width: box.widthPx, height: box.heightPx, fit: "inside" })
    .raw()
    .toBuffer({ resolveWithObject: true });
  return { rgb: data, widthPx: info.width, heightPx: info.height };
}

/** The brightest that each pixel ever was. */
function addToTrail(picture: Picture): void {
  if (trail === null) {
    trail = { ...picture, rgb: Uint8Array.from(picture.rgb) };
    return;
  }
  const { rgb } = trail;
  const { rgb: next } = picture;
  for (let at = 0; at < rgb.length; at += 1) if (next[at]! > rgb[at]!) rgb[at] = next[at]!;
}

parentPort!.on("message", ({ id, task }: { id: number; task: FrameTask }) => {
  perform(task).then(
    (answer) => {
      postOwned(parentPort!, { id, answer });
    },
    (thrown: unknown) => {
      const code = thrown instanceof Error && "code" in thrown ? String(thrown.code) : "";
      const message = thrown instanceof Error ? thrown.message : String(thrown);
      postOwned(parentPort!, { id, failure: { code, message } });
    },
  );
});
