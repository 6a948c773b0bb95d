import sharp from "sharp";
import { encodeExif, withExif } from "../../core/metadata/exif.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import { utcMs } from "../../core/units.ts";
import { NIGHT_START_UTC_MS } from "./frameRecords.ts";

/** A small JPEG as a camera writes it, with its exposure in its Exif. */
export async function pictureWithExif(exposure: Exposure): Promise<Uint8Array> {
  const size = { width: 48, height: 32 };
  const plain = await sharp({ create: { ...size, channels: 3, background: "#124" } })
    .jpeg()
    .toBuffer();
  const exif = encodeExif({
    ...{ widthPx: size.width, heightPx: size.height, ...exposure },
    ...{ focalLengthMm: null, isManual: true, sensitivityType: 2 as const },
    ...{ takenUtcMs: utcMs(NIGHT_START_UTC_MS), utcOffsetMinutes: 0, exposureBiasStops: 0 },
    ...{ brightnessApex: null, description: null, userComment: null, maker: null, model: null },
    ...{ software: null, bodySerialNumber: null, place: null, thumbnail: null },
  });
  return withExif(plain, exif);
}
