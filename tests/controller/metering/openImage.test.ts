import sharp from "sharp";
import { expect, it } from "vitest";
import { decodePreview } from "../../../controller/metering/decodePreview.ts";
import { openImage } from "../../../controller/metering/openImage.ts";

const flat = sharp({ create: { width: 64, height: 64, channels: 3, background: "#123456" } });

/** A JPEG whose frame header says that it is of this size. */
async function claiming(
  widthPx: number,
  heightPx: number,
  progressive: boolean,
): Promise<Uint8Array> {
  const jpeg = Uint8Array.from(await flat.clone().jpeg({ progressive }).toBuffer());
  const marker = progressive ? 0xc2 : 0xc0;
  const at = jpeg.findIndex((byte, index) => byte === 0xff && jpeg[index + 1] === marker);
  const view = new DataView(jpeg.buffer);
  view.setUint16(at + 5, heightPx);
  view.setUint16(at + 7, widthPx);
  return jpeg;
}

it("refuses from its header a progressive JPEG that claims 17,000 × 17,000 pixels", async () => {
  const jpeg = await claiming(17_000, 17_000, true);
  const beforeBytes = process.memoryUsage().rss;
  await expect(decodePreview(jpeg)).rejects.toMatchObject({
    code: "image.unreadable",
    message: "the image cannot be read (it says that it is 17000 × 17000 pixels)",
  });
  expect(process.memoryUsage().rss - beforeBytes).toBeLessThan(50_000_000);
});

it("takes a progressive JPEG of 45 megapixels, and a plain one of 60 that is shrunk while loading", async () => {
  expect(() => openImage(jpegs[0]!, {})).not.toThrow();
  expect(() => openImage(jpegs[1]!, {}, 8)).not.toThrow();
});

const jpegs = [await claiming(8200, 5500, true), await claiming(9500, 6300, false)];

it.each([
  ["an SVG", Buffer.from('<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"/>')],
  ["a GIF", Buffer.from("GIF89a")],
  ["nothing", new Uint8Array()],
])("refuses %s as of no kind that cameras make", async (_what, bytes) => {
  await expect(decodePreview(bytes)).rejects.toMatchObject({
    message: "the image cannot be read (it is of no kind that cameras make)",
  });
});
