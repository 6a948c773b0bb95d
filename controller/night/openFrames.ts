import { changedFrame, type FrameRecord } from "../../core/watch/frameRecord.ts";
import type { Catalogue } from "../archive/catalogue.ts";

/** More settled rows than this are not held in memory. */
const OPEN_COUNT_MAX = 64;

/** The frames of one camera that are still changing; every change goes to the catalogue at once. */
export class OpenFrames {
  readonly #catalogue: Catalogue;
  readonly #cameraId: string;
  /** Frames in hand; settled ones are read from the catalogue again when asked for. */
  readonly #open = new Map<number, FrameRecord>();
  /** Those of them whose newest row is not in the catalogue, because the disk refused it. */
  readonly #unwritten = new Set<number>();
  #newest: FrameRecord | null;

  constructor(catalogue: Catalogue, cameraId: string) {
    this.#catalogue = catalogue;
    this.#cameraId = cameraId;
    this.#newest = catalogue.newestKept(cameraId);
  }

  /** The newest frame whose file is whole: the newest that the page may show. */
  get newest(): FrameRecord | null {
    return this.#newest;
  }

  add(record: FrameRecord): void {
    this.#write(record);
  }

  /** Changes a frame; null when the night does not know it. */
  change(frameIndex: number, changes: Partial<FrameRecord>): FrameRecord | null {
    const before = this.frame(frameIndex);
    if (!before) return null;
    const after = changedFrame(before, changes);
    this.#write(after);
    return after;
  }

  frame(frameIndex: number): FrameRecord | null {
    return this.#open.get(frameIndex) ?? this.#catalogue.frame(this.#cameraId, frameIndex);
  }

  /** In memory first: a row that the disk refuses is written with the next one that it takes. */
  #write(record: FrameRecord): void {
    this.#open.set(record.frameIndex, record);
    this.#unwritten.add(record.frameIndex);
    for (const frameIndex of this.#unwritten) {
      const unwritten = this.#open.get(frameIndex)!;
      this.#catalogue.putFrame(unwritten);
      this.#unwritten.delete(frameIndex);
      this.#settle(unwritten);
    }
  }

  #settle(record: FrameRecord): void {
    if (record.status === "kept" && record.reading !== null) this.#open.delete(record.frameIndex);
    // Missing frames stay open in case the card gives them back, but not without bound.
    if (this.#open.size - this.#unwritten.size > OPEN_COUNT_MAX) {
      const oldest = [...this.#open.keys()].find((index) => !this.#unwritten.has(index));
      if (oldest !== undefined) this.#open.delete(oldest);
    }
    if (record.status === "kept" && record.frameIndex >= (this.#newest?.frameIndex ?? 0)) {
      this.#newest = record;
    }
  }
}
