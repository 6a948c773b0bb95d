import type { FrameRecord } from "../../core/night/frameRecord.ts";
import type { Catalogue } from "../archive/catalogue.ts";

/** The frames of one camera that are still changing; every change goes to the catalogue at once. */
export class FrameLedger {
  readonly #catalogue: Catalogue;
  readonly #cameraId: string;
  /** Frames in hand; settled ones are read from the catalogue again when asked for. */
  readonly #open = new Map<number, FrameRecord>();
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
    const after = { ...before, ...changes };
    this.#write(after);
    return after;
  }

  frame(frameIndex: number): FrameRecord | null {
    return this.#open.get(frameIndex) ?? this.#catalogue.frame(this.#cameraId, frameIndex);
  }

  #write(record: FrameRecord): void {
    this.#catalogue.putFrame(record);
    const isSettled = record.status === "kept" && record.reading !== null;
    if (isSettled) this.#open.delete(record.frameIndex);
    else this.#open.set(record.frameIndex, record);
    // Missing frames stay open in case the card gives them back, but not without bound.
    if (this.#open.size > 64) this.#open.delete(Math.min(...this.#open.keys()));
    if (record.status === "kept" && record.frameIndex >= (this.#newest?.frameIndex ?? 0)) {
      this.#newest = record;
    }
  }
}
