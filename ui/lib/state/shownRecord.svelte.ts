import type { FrameRecord } from "../../../core/watch/frameRecord.ts";
import type { TracePoint } from "./tracePoint.ts";

type ShownRecordOptions = {
  readonly cameraId: () => string | null;
  readonly point: () => TracePoint | null;
  /** The newest record that the daemon pushed. */
  readonly pushed: () => FrameRecord | null;
};

/** What is known of the frame shown: its record, pushed or fetched; until it comes, the record before. */
export class ShownRecord {
  readonly #options: ShownRecordOptions;
  #fetched = $state.raw<FrameRecord | null>(null);
  #last: FrameRecord | null = null;

  /** null: none of this camera's frames has come yet. */
  readonly record = $derived.by(() => {
    const point = this.#options.point();
    const found = [this.#options.pushed(), this.#fetched].find(
      (one) => one !== null && point !== null && isOf(one, point),
    );
    if (found) this.#last = found;
    return this.#last?.cameraId === this.#options.cameraId() ? this.#last : null;
  });

  constructor(options: ShownRecordOptions) {
    this.#options = options;
  }

  take(fetched: FrameRecord): void {
    this.#fetched = fetched;
  }
}

function isOf(record: FrameRecord, point: TracePoint): boolean {
  return record.frameIndex === point.frameIndex && record.cameraId === point.cameraId;
}
