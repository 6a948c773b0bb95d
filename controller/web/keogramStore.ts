import { mkdir, open, readFile, type FileHandle } from "node:fs/promises";
import { join } from "node:path";

import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { COLUMN_ROWS, type FrameImages } from "./frameImages.ts";

/** A slot: four bytes that say which file it was made from, then the RGB pixels. */
const STAMP_BYTES = 4;
const PIXEL_BYTES = COLUMN_ROWS * 3;
const SLOT_BYTES = STAMP_BYTES + PIXEL_BYTES;

/** Strips held in memory at once; others are read again from the cache folder. */
const NIGHTS_MAX = 4;

/** Frames of one night that can have a slot; 200,000 are 58 MB. */
const FRAMES_MAX = 200_000;

/** Pieces of the file are written when this many slots have changed, or at `close`. */
const WRITE_EVERY = 32;

type Night = {
  slots: Buffer;
  readonly changed: Set<number>;
  readonly underway: Map<number, Promise<void>>;
  writing: Promise<void>;
};

/**
 * The keogram slices of whole nights, made once a frame and kept in one small file a camera, so that
 * a night of thousands of frames opens in one request. The file is a cache: losing it costs time.
 */
export class KeogramStore {
  readonly #images: FrameImages;
  readonly #cacheDir: string | null;
  readonly #nights = new Map<string, Promise<Night>>();

  constructor(images: FrameImages, cacheDir: string | null) {
    this.#images = images;
    this.#cacheDir = cacheDir;
  }

  /**
   * Of one camera's frames: RGBA pixels, `frames.length` wide and `COLUMN_ROWS` high: column i is frame i's slice,
   * transparent where there is no readable picture.
   */
  async pixels(
    nightId: string,
    frames: readonly FrameRecord[],
    pathOf: (frameIndex: number) => string | null,
  ): Promise<Buffer> {
    const strip = stripOf(nightId, frames[0]);
    const night = await this.#night(strip);
    await Promise.all(frames.map((frame) => this.#make(strip, night, frame, pathOf)));
    const width = frames.length;
    const rgba = Buffer.alloc(width * COLUMN_ROWS * 4);
    frames.forEach((frame, x) => {
      if (!hasSlot(night, frame)) return;
      const from = frame.frameIndex * SLOT_BYTES + STAMP_BYTES;
      for (let row = 0; row < COLUMN_ROWS; row += 1) {
        const to = (row * width + x) * 4;
        night.slots.copy(rgba, to, from + row * 3, from + row * 3 + 3);
        rgba[to + 3] = 255;
      }
    });
    return rgba;
  }

  /** Makes a new frame's slice ahead of the first request for it. */
  async prepare(
    nightId: string,
    frame: FrameRecord,
    pathOf: (frameIndex: number) => string | null,
  ): Promise<void> {
    const strip = stripOf(nightId, frame);
    await this.#make(strip, await this.#night(strip), frame, pathOf);
  }

  /** Writes what has not been written yet. */
  async close(): Promise<void> {
    for (const [strip, opening] of this.#nights) {
      const night = await opening;
      this.#write(strip, night);
      await night.writing;
    }
  }

  async #make(
    strip: string,
    night: Night,
    frame: FrameRecord,
    pathOf: (frameIndex: number) => string | null,
  ): Promise<void> {
    const { frameIndex, file } = frame;
    if (file === null || frameIndex >= FRAMES_MAX || hasSlot(night, frame)) return;
    let making = night.underway.get(frameIndex);
    if (making === undefined) {
      making = this.#fill(night, frame, pathOf(frameIndex)).finally(() => {
        night.underway.delete(frameIndex);
        if (night.changed.size >= WRITE_EVERY) this.#write(strip, night);
      });
      night.underway.set(frameIndex, making);
    }
    await making;
  }

  async #fill(night: Night, frame: FrameRecord, path: string | null): Promise<void> {
    if (path === null) return;
    // An unreadable picture leaves its column empty: the strip shows the hole, the frame's own
    // view says why.
    const column = await this.#images.column(path).catch(() => null);
    if (column === null || column.length !== PIXEL_BYTES) return;
    const at = frame.frameIndex * SLOT_BYTES;
    if (night.slots.length < at + SLOT_BYTES) {
      const grown = Buffer.alloc(Math.max(at + SLOT_BYTES, night.slots.length * 2));
      night.slots.copy(grown);
      night.slots = grown;
    }
    stampOf(frame).copy(night.slots, at);
    column.copy(night.slots, at + STAMP_BYTES);
    night.changed.add(frame.frameIndex);
  }

  #night(strip: string): Promise<Night> {
    const known = this.#nights.get(strip);
    if (known !== undefined) return known;
    const opening = this.#read(strip);
    this.#nights.set(strip, opening);
    for (const [oldest, other] of this.#nights) {
      if (this.#nights.size <= NIGHTS_MAX) break;
      void other.then((night) => this.#write(oldest, night));
      this.#nights.delete(oldest);
    }
    return opening;
  }

  async #read(strip: string): Promise<Night> {
    const path = this.#path(strip);
    const slots =
      path === null ? Buffer.alloc(0) : await readFile(path).catch(() => Buffer.alloc(0));
    return { slots, changed: new Set(), underway: new Map(), writing: Promise.resolve() };
  }

  #write(strip: string, night: Night): void {
    const path = this.#path(strip);
    const indices = [...night.changed];
    night.changed.clear();
    if (path === null || indices.length === 0) return;
    night.writing = night.writing
      .then(() => this.#writeSlots(path, night, indices))
      // A full or read-only disk costs the cache, never the night.
      .catch(() => undefined);
  }

  async #writeSlots(path: string, night: Night, indices: readonly number[]): Promise<void> {
    await mkdir(join(path, ".."), { recursive: true });
    const file = await openForUpdate(path);
    try {
      for (const index of indices) {
        const at = index * SLOT_BYTES;
        await file.write(night.slots, at, SLOT_BYTES, at);
      }
    } finally {
      await file.close();
    }
  }

  #path(strip: string): string | null {
    if (this.#cacheDir === null) return null;
    return join(this.#cacheDir, `${strip}.keogram`);
  }
}

/** A camera's strip of a night, as a name that every disk takes: an index is unique within a camera. */
function stripOf(nightId: string, frame: FrameRecord | undefined): string {
  return `${encodeURIComponent(nightId)}.${encodeURIComponent(frame?.cameraId ?? "")}`;
}

async function openForUpdate(path: string): Promise<FileHandle> {
  return open(path, "r+").catch(() => open(path, "w+"));
}

/** The first bytes of the file's checksum; never all zero, which is what an empty slot holds. */
function stampOf(frame: FrameRecord): Buffer {
  const stamp = Buffer.alloc(STAMP_BYTES);
  stamp.write((frame.file?.sha256 ?? "").slice(0, STAMP_BYTES * 2), "hex");
  stamp[0] = (stamp[0] ?? 0) | 1;
  return stamp;
}

function hasSlot(night: Night, frame: FrameRecord): boolean {
  if (frame.file === null) return false;
  const at = frame.frameIndex * SLOT_BYTES;
  return (
    night.slots.length >= at + SLOT_BYTES &&
    night.slots.subarray(at, at + STAMP_BYTES).equals(stampOf(frame))
  );
}
