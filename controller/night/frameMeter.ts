import type { Exposure } from "../../core/exposure/exposure.ts";
import {
  meterFrame,
  startMeter,
  withOptics,
  type MeterState,
} from "../../core/photometry/meter.ts";
import type { Reading } from "../../core/photometry/reading.ts";
import { startToneResponse, type ToneResponse } from "../../core/photometry/response.ts";
import { monotonicMs, type UtcMs } from "../../core/units.ts";
import type { FrameSlice } from "../archive/skyRows.ts";
import type { Optics, PictureFacts } from "../../core/photometry/optics.ts";
import { frameKitOf } from "../frameKit.ts";
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
  readonly #opticsOf: (picture: PictureFacts) => Optics;
  readonly #response: ToneResponse | null;
  /** null: no picture has given yet through what it was taken. */
  #state: MeterState | null = null;
  #last: Promise<unknown> = Promise.resolve();

  /** @param opticsOf  Lens and sensor, as far as a picture and what was given make them known. */
  constructor(opticsOf: (picture: PictureFacts) => Optics, response: ToneResponse | null) {
    this.#opticsOf = opticsOf;
    this.#response = response;
  }

  /** What has been learned of the camera's tone curve; kept for its next night. */
  get response(): ToneResponse {
    return this.#state?.response ?? this.#response ?? startToneResponse();
  }

  #meterFor(optics: Optics): MeterState {
    const { focalLengthMm, pixelPitchUm, fullWidthPx, isPixelCountKnown, remarks } = optics;
    const lens = { focalLengthMm, pixelPitchUm, fullWidthPx, remarks };
    const options = { ...lens, isScaleGuessed: !isPixelCountKnown };
    if (this.#state !== null) return withOptics(this.#state, options);
    return this.#response === null ? startMeter(options) : startMeter(options, this.#response);
  }

  /** @throws NightError `image.unreadable`. */
  meter(
    jpeg: Uint8Array,
    frame: MeteredFrame,
  ): Promise<{ readonly reading: Reading; readonly slice: FrameSlice }> {
    const decoded = Promise.all([decodePreview(jpeg), frameKitOf(jpeg)]);
    const metered = this.#last.then(async () => {
      const [preview, facts] = await decoded;
      const { fileWidthPx: uprightWidthPx, fileHeightPx: uprightHeightPx } = preview;
      const optics = this.#opticsOf({ ...facts, uprightWidthPx, uprightHeightPx });
      const { reading, state } = meterFrame(this.#meterFor(optics), {
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
