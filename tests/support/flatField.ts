import { encodePicture } from "../../controller/virtual-camera/encodePicture.ts";
import type { PictureOrder, PictureSource } from "../../controller/virtual-camera/picture.ts";
import type { CameraIdentity } from "../../controller/virtual-camera/virtualCamera.ts";

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
};

export function createFlatField(size = { widthPx: 96, heightPx: 64 }): FlatField {
  const { widthPx, heightPx } = size;
  const source: FlatField = {
    ...size,
    typicalBytes: 4000,
    orders: [],
    gate: Promise.resolve(),
    async develop(order) {
      source.orders.push(order);
      await source.gate;
      const rgb = new Uint8Array(widthPx * heightPx * 3).fill(90);
      // A pattern that does not compress away, so that a transfer takes several packets.
      for (let index = 0; index < rgb.length; index += 1) rgb[index]! += (index * 7919) % 97;
      return encodePicture({ widthPx, heightPx, rgb }, order, {
        identity: TEST_IDENTITY,
        focalLengthMm: 16,
      });
    },
    close: () => Promise.resolve(),
  };
  return source;
}
