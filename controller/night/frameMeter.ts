import type { Exposure } from "../../core/exposure/exposure.ts";
import {
  meterFrame,
  startMeter,
  type MeterOptions,
  type MeterState,
} from "../../core/photometry/meter.ts";
import type { Reading } from "../../core/photometry/reading.ts";
import type { ToneResponse } from "../../core/photometry/response.ts";
import { monotonicMs, type UtcMs } from "../../core/units.ts";
import type { FrameSlice } from "../archive/skyRows.ts";
import { decodePreview } from "../metering/decodePreview.ts";

/** The frame as the meter has to know it. */
type MeteredFrame = {
  readonly frameIndex: number;
  readonly exposure: Exposure;
  readonly openedUtcMs: UtcMs | null;
  /** False for a frame that varied the exposure for its own reasons. */
  readonly followsTheSky: boolean;
};

/**
 * The meter of one camera through one night: decodes previews off the main thread and meters them
 * in the order in which they came, since each teaches the meter something for the next.
 */
export class FrameMeter {
  #state: MeterState;
  #last: Promise<unknown> = Promise.resolve();

  constructor(options: MeterOptions, response: ToneResponse | null) {
    this.#state = response === null ? startMeter(options) : startMeter(options, response);
  }

  /** What has been learned of the camera's tone curve; kept for its next night. */
  get response(): ToneResponse {
    return this.#state.response;
  }

  /** @throws NightError `image.unreadable`. */
  meter(
    jpeg: Uint8Array,
    frame: MeteredFrame,
  ): Promise<{ readonly reading: Reading; readonly slice: FrameSlice }> {
    const decoded = decodePreview(jpeg);
    const metered = this.#last.then(async () => {
      const preview = await decoded;
      const { reading, state } = meterFrame(this.#state, {
        widthPx: preview.widthPx,
        heightPx: preview.heightPx,
        rgb: preview.rgb,
        exposure: frame.exposure,
        followsTheSky: frame.followsTheSky,
        // Only differences matter to the meter, and UTC is known for every frame.
        openedMs: monotonicMs(frame.openedUtcMs ?? 0),
      });
      this.#state = state;
      return { reading, slice: { thumbnailJpeg: preview.thumbnail, column: preview.column } };
    });
    this.#last = metered.catch(() => {
      // The caller is informed; the next frame meters as if this one had not been.
    });
    return metered;
  }
}
