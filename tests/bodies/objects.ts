import { ByteSink } from "./bytes.ts";
import { FORMAT } from "./codes.ts";
import { rawFile, type ExifFacts } from "./exif.ts";
import { heifFile } from "./heif.ts";
import { jpegOf, withExif, type Exposure } from "./pictures.ts";
import type { Traits } from "./switches.ts";

export type Stored = {
  readonly handle: number;
  readonly storage: number;
  readonly format: number;
  readonly parent: number;
  readonly name: string;
  readonly takenAt: string;
  /** What GetObject sends. */
  readonly bytes: Buffer;
  /** What the description says of its size. */
  readonly reportedBytes: number;
  readonly thumb: Buffer | null;
  readonly thumbPx: number;
  readonly px: number;
};

type Kind = Traits["files"][number];

const KINDS: Readonly<Record<Kind, { readonly format: number; readonly ending: string }>> = {
  jpeg: { format: FORMAT.jpeg, ending: "JPG" },
  raw: { format: FORMAT.undefinedImage, ending: "RAW" },
  dng: { format: FORMAT.dng, ending: "DNG" },
  heif: { format: FORMAT.heif, ending: "HIF" },
};
/** Enough that a raw file is dearer than its preview, little enough for forty bodies at once. */
const SENSOR_BYTES = 600_000;
const PREVIEW_PX = 1024;

/** The bytes of one file of an exposure. */
async function contents(
  kind: Kind,
  exposure: Exposure,
  exif: ExifFacts,
  px: number,
): Promise<Buffer> {
  if (kind === "jpeg") return withExif(await jpegOf(exposure, px), exif);
  const preview = await jpegOf(exposure, Math.min(px, PREVIEW_PX));
  if (kind === "heif") return heifFile(exif, await jpegOf(exposure, 320), SENSOR_BYTES / 4);
  return rawFile(exif, preview, SENSOR_BYTES);
}

export type Shot = {
  readonly exposure: Exposure;
  readonly takenAt: Date;
  readonly index: number;
  readonly storage: number;
  readonly parent: number;
  readonly nextHandle: () => number;
};

/** Every file that one exposure leaves on the card, as this body writes them. */
export async function storedFiles(traits: Traits, shot: Shot): Promise<readonly Stored[]> {
  const files: Stored[] = [];
  const exif = exifOf(traits, shot);
  for (const kind of traits.files) {
    const whole = await contents(kind, shot.exposure, exif, traits.picturePx);
    const bytes = whole.subarray(0, Math.ceil(whole.length * traits.objectBytes));
    files.push({
      handle: shot.nextHandle(),
      storage: shot.storage,
      format: KINDS[kind].format,
      parent: shot.parent,
      name: nameOf(traits, shot.index, KINDS[kind].ending),
      takenAt: shot.takenAt.toISOString().slice(0, 19).replaceAll(/[-:]/g, ""),
      bytes,
      reportedBytes: reportedSize(traits, whole.length),
      thumb: traits.thumb.kind === "px" ? await jpegOf(shot.exposure, traits.thumb.px) : null,
      thumbPx: traits.thumb.kind === "px" ? traits.thumb.px : 0,
      px: traits.picturePx,
    });
  }
  return files;
}

function exifOf({ exif }: Traits, { exposure, takenAt }: Shot): ExifFacts {
  const date = takenAt.toISOString().slice(0, 19).replaceAll("-", ":").replace("T", " ");
  if (exif === "bare") return { seconds: null, iso: null, fNumber: null, takenAt: null };
  if (exif === "lying") {
    return { seconds: 1, iso: 100, fNumber: 16, takenAt: "2001:01:01 00:00:00" };
  }
  return {
    seconds: exposure.seconds,
    iso: exif === "noIso" ? null : Math.round(exposure.iso),
    fNumber: exposure.fNumber,
    takenAt: exif === "noDate" ? null : date,
  };
}

function reportedSize({ objectSize }: Traits, bytes: number): number {
  switch (objectSize) {
    case "honest":
      return bytes;
    case "unknown":
      return 0xffffffff;
    case "zero":
      return 0;
    case "doubled":
      return bytes * 2;
  }
}

function nameOf({ naming }: Traits, index: number, ending: string): string {
  const number = String(index).padStart(4, "0");
  switch (naming) {
    case "rising":
      return `PICT${number}.${ending}`;
    case "equal":
      return `PICTURE.${ending}`;
    case "long":
      return `${"NIGHT".repeat(40)}${number}.${ending}`;
    case "path":
      return `../../PICT${number}.${ending}`;
    case "empty":
      return "";
  }
}

/** ObjectInfo. Source: MTP 1.1, §5.3.1. */
export function objectInfo(stored: Stored): Buffer {
  const heightOf = (px: number): number => Math.round((px * 2) / 3);
  return new ByteSink()
    .u32(stored.storage)
    .u16(stored.format)
    .u16(0)
    .u32(stored.reportedBytes)
    .u16(stored.thumb ? FORMAT.jpeg : 0)
    .u32(stored.thumb?.length ?? 0)
    .u32(stored.thumbPx)
    .u32(heightOf(stored.thumbPx))
    .u32(stored.px)
    .u32(heightOf(stored.px))
    .u32(24)
    .u32(stored.parent)
    .u16(0)
    .u32(0)
    .u32(0)
    .text(stored.name)
    .text(stored.takenAt)
    .text(stored.takenAt)
    .text("")
    .bytes();
}

/** ObjectInfo of a folder: sizes and pixels are nothing. */
export function folderInfo(storage: number, name: string, parent: number): Buffer {
  const sizesAndPixels = Buffer.alloc(30);
  return new ByteSink()
    .u32(storage)
    .u16(FORMAT.folder)
    .u16(0)
    .raw(sizesAndPixels)
    .u32(parent)
    .u16(1)
    .u32(0)
    .u32(0)
    .text(name)
    .text("")
    .text("")
    .text("")
    .bytes();
}
