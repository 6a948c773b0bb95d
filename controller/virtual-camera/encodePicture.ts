import sharp from "sharp";
import { encodeExif, withExif } from "../../core/metadata/exif.ts";
import type { CameraIdentity } from "./virtualCamera.ts";
import {
  THUMBNAIL_HEIGHT_PX,
  THUMBNAIL_WIDTH_PX,
  type Picture,
  type PictureOrder,
} from "./picture.ts";

/** What the sensor and the camera's own processing made of the light. */
type DevelopedPixels = {
  readonly widthPx: number;
  readonly heightPx: number;
  /** sRGB codes, three bytes a pixel, row by row. */
  readonly rgb: Uint8Array;
};

const JPEG_QUALITY = 90;
const THUMBNAIL_QUALITY = 80;

/** Writes the file as a camera does: JPEG, thumbnail, and Exif of the exposure that happened. */
export async function encodePicture(
  pixels: DevelopedPixels,
  order: PictureOrder,
  body: {
    readonly identity: CameraIdentity;
    readonly focalLengthMm: number;
    readonly sensorWidthMm: number;
  },
): Promise<Picture> {
  const { widthPx, heightPx } = pixels;
  const raw = { raw: { width: widthPx, height: heightPx, channels: 3 as const } };
  const [plain, thumbnail] = await Promise.all([
    sharp(pixels.rgb, raw).jpeg({ quality: JPEG_QUALITY, chromaSubsampling: "4:2:0" }).toBuffer(),
    // Exif thumbnails are 4:3; a picture of another shape gets black bars.
    sharp(pixels.rgb, raw)
      .resize(THUMBNAIL_WIDTH_PX, THUMBNAIL_HEIGHT_PX, { fit: "contain" })
      .jpeg({ quality: THUMBNAIL_QUALITY })
      .toBuffer(),
  ]);
  const exif = encodeExif({
    ...{ widthPx, heightPx, thumbnail },
    exposureSeconds: order.exposure.exposureSeconds,
    iso: order.exposure.iso,
    fNumber: order.exposure.fNumber,
    focalLengthMm: body.focalLengthMm,
    sensorWidthMm: body.sensorWidthMm,
    isManual: order.isManual,
    sensitivityType: 2,
    takenUtcMs: order.cameraUtcMs,
    utcOffsetMinutes: order.utcOffsetMinutes,
    exposureBiasStops: 0,
    brightnessApex: null,
    description: null,
    userComment: null,
    maker: body.identity.manufacturer,
    model: body.identity.model,
    software: null,
    bodySerialNumber: body.identity.serialNumber,
    // This camera has no satellite receiver.
    place: null,
  });
  return { jpeg: withExif(plain, exif), thumbnail, widthPx, heightPx };
}
