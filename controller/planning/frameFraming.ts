import { NightError } from "../../core/errors.ts";
import { readFraming, type FramingReading } from "../../core/photometry/framing/framing.ts";
import { openImage } from "../metering/openImage.ts";

/** Wide enough for a lamp to be more than a star, small enough to be read at once. */
const WIDTH_PX = 1200;

/**
 * What a test frame's file shows of its framing.
 *
 * @throws NightError `image.unreadable` for something that is no picture.
 */
export async function readFramingOf(jpeg: Uint8Array): Promise<FramingReading> {
  const { data, info } = await decoded(jpeg);
  return readFraming({
    rgb: new Uint8Array(data.buffer, data.byteOffset, data.length),
    widthPx: info.width,
    heightPx: info.height,
  });
}

async function decoded(jpeg: Uint8Array) {
  try {
    return await openImage(jpeg, {})
      .rotate()
      .resize({ width: WIDTH_PX, withoutEnlargement: true, kernel: "linear" })
      .toColourspace("srgb")
      .removeAlpha()
      .raw()
      .toBuffer({ resolveWithObject: true });
  } catch (thrown) {
    const sentence = "The test frame cannot be read as a picture.";
    throw new NightError("image.unreadable", sentence, {}, { cause: thrown });
  }
}
