import { encodePicture } from "../../controller/virtual-camera/encodePicture.ts";
import type { PictureOrder, PictureSource } from "../../controller/virtual-camera/picture.ts";
import type { CameraIdentity } from "../../controller/virtual-camera/virtualCamera.ts";
import { stopsFromMidGrey, type Exposure } from "../../core/exposure/exposure.ts";
import { encodeSrgb, linearOfCode, MID_GREY_CODE } from "../../core/photometry/srgb.ts";

export const TEST_IDENTITY: CameraIdentity = {
  manufacturer: "Nattvakt",
  model: "Virtual camera",
  deviceVersion: "test",
  serialNumber: "0000002a",
};

/** Evenly lit pictures; every order is kept, and each waits for `gate` before it becomes a file. */
export type FlatField = PictureSource & {
  readonly orders: PictureOrder[];
  gate: Promise<void>;
  /** What the field shines with; null: its pictures look alike whatever the exposure. */
  luminanceCdM2: number | null;
};

/** What a field looks like whose light is not given: bright, with a pattern that fills its file. */
const PLAIN = { code: 90, patternCodes: 97 };
/** A pattern that does not disturb a meter. */
const FAINT_PATTERN_CODES = 9;

export function createFlatField(size = { widthPx: 96, heightPx: 64 }): FlatField {
  const { widthPx, heightPx } = size;
  const source: FlatField = {
    ...size,
    typicalBytes: 4000,
    orders: [],
    gate: Promise.resolve(),
    luminanceCdM2: null,
    async develop(order) {
      source.orders.push(order);
      await source.gate;
      const { code, patternCodes } = lookOf(source.luminanceCdM2, order.exposure);
      // A pattern that does not compress away, so that a transfer takes several packets.
      const codes = new Uint8ClampedArray(widthPx * heightPx * 3);
      for (let index = 0; index < codes.length; index += 1) {
        codes[index] = code + ((index * 7919) % patternCodes);
      }
      const rgb = new Uint8Array(codes.buffer);
      return encodePicture({ widthPx, heightPx, rgb }, order, {
        identity: TEST_IDENTITY,
        focalLengthMm: 16,
        sensorWidthMm: 36,
      });
    },
    close: () => Promise.resolve(),
  };
  return source;
}

/** The lowest code of the pattern, whose middle is the field's own, and its height. */
function lookOf(luminanceCdM2: number | null, exposure: Exposure): typeof PLAIN {
  if (luminanceCdM2 === null) return PLAIN;
  const light = linearOfCode(MID_GREY_CODE) * 2 ** stopsFromMidGrey(luminanceCdM2, exposure);
  const code = Math.round(255 * encodeSrgb(light) - FAINT_PATTERN_CODES / 2);
  return { code, patternCodes: FAINT_PATTERN_CODES };
}
