import { readFile, stat } from "node:fs/promises";

import type { Sharp } from "sharp";

import { NightError } from "../../core/errors.ts";
import { openImage } from "../metering/openImage.ts";
import { WorkQueue } from "./workQueue.ts";

/** Long edge of a thumbnail in the page's row of frames, pixels. */
const THUMB_WIDTH_PX = 192;

/** Rows of a frame's keogram slice, pixels, top of the frame first. */
export const COLUMN_ROWS = 96;

/** Share of the frame's width, around its middle, that a slice averages. */
const COLUMN_WIDTH_SHARE = 0.04;

/** Bytes of finished images that are held in memory. */
const CACHE_BYTES_MAX = 48 * 1024 * 1024;

/** Two pictures at a time: the night needs the processor more than the page does. */
const AT_ONCE = 2;

/** Pictures waiting to be made; a caller beyond that is asked to come back. */
const WAITING_MAX = 2_000;

/**
 * Smaller pictures of a night's frames: thumbnails, screen-size images, keogram slices. Made once
 * and remembered within a bound; made off the main thread, few at a time.
 */
export class FrameImages {
  readonly #queue = new WorkQueue({ atOnce: AT_ONCE, waitingMax: WAITING_MAX });
  readonly #cache = new Map<string, Buffer>();
  readonly #underway = new Map<string, Promise<Buffer>>();
  #cachedBytes = 0;

  /** A JPEG small enough for the row of frames. */
  thumb(path: string): Promise<Buffer> {
    return this.#jpeg(path, THUMB_WIDTH_PX, 68);
  }

  /** A JPEG of at most this width. */
  atWidth(path: string, widthPx: number): Promise<Buffer> {
    return this.#jpeg(path, widthPx, 86);
  }

  /** A frame's slice of the keogram: `COLUMN_ROWS` RGB pixels, top of the frame first. */
  async column(path: string): Promise<Buffer> {
    return this.#queue.run(async () => {
      try {
        const image = await decode(path);
        const { width = 0, height = 0 } = await image.metadata();
        const sliceWidth = Math.max(1, Math.round(width * COLUMN_WIDTH_SHARE));
        return await image
          .extract({
            left: Math.floor((width - sliceWidth) / 2),
            top: 0,
            width: sliceWidth,
            height,
          })
          .resize(1, COLUMN_ROWS, { fit: "fill", kernel: "linear", fastShrinkOnLoad: true })
          .removeAlpha()
          .toColourspace("srgb")
          .raw()
          .toBuffer();
      } catch (thrown) {
        throw unreadable(thrown);
      }
    });
  }

  async #jpeg(path: string, widthPx: number, quality: number): Promise<Buffer> {
    const { mtimeMs, size } = await stat(path).catch(() => {
      throw new NightError("web.not_found", "This frame's picture is not on the disk any more.");
    });
    const key = `${path}|${mtimeMs}|${size}|${widthPx}`;
    const kept = this.#cache.get(key);
    if (kept !== undefined) {
      this.#cache.delete(key);
      this.#cache.set(key, kept);
      return kept;
    }
    const underway = this.#underway.get(key);
    if (underway !== undefined) return underway;
    const made = this.#queue
      .run(() => makeJpeg(path, widthPx, quality))
      .finally(() => this.#underway.delete(key));
    this.#underway.set(key, made);
    const jpeg = await made;
    this.#keep(key, jpeg);
    return jpeg;
  }

  #keep(key: string, bytes: Buffer): void {
    if (this.#cache.has(key)) return;
    this.#cache.set(key, bytes);
    this.#cachedBytes += bytes.length;
    for (const [oldest, old] of this.#cache) {
      if (this.#cachedBytes <= CACHE_BYTES_MAX) break;
      this.#cache.delete(oldest);
      this.#cachedBytes -= old.length;
    }
  }
}

async function makeJpeg(path: string, widthPx: number, quality: number): Promise<Buffer> {
  try {
    const image = await decode(path);
    return await image
      .rotate()
      .resize({ width: widthPx, withoutEnlargement: true })
      .jpeg({ quality })
      .toBuffer();
  } catch (thrown) {
    throw unreadable(thrown);
  }
}

/** Read first: a file that vanishes meanwhile is then an error of ours, not of the library. */
async function decode(path: string): Promise<Sharp> {
  return openImage(await readFile(path), { failOn: "error", sequentialRead: true });
}

function unreadable(thrown: unknown): NightError {
  if (thrown instanceof NightError) return thrown;
  return new NightError(
    "image.unreadable",
    "This frame's picture cannot be read; its file is damaged or not a JPEG.",
    {},
    { cause: thrown },
  );
}
