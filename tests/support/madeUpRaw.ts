import { tiffDirectory, tiffFile } from "./tiff.ts";

/** Where the sensor's data lies in the made-up file, and how much there is of it. */
const SENSOR_AT = 512;
const SENSOR_BYTES = 4096;

/** A raw file of TIFF structure: made-up sensor data and a whole JPEG, as cameras put one inside. */
export function makeRaw(preview: Uint8Array, seed: number): Uint8Array {
  const sensor = Uint8Array.from({ length: SENSOR_BYTES }, (_, n) => (n * 31 + seed * 17) & 0xff);
  const previewAt = SENSOR_AT + SENSOR_BYTES;
  const directory = tiffDirectory(
    [
      [0x0103, 3, 1, 6],
      [0x0201, 4, 1, previewAt],
      [0x0202, 4, 1, preview.byteLength],
    ],
    0,
    true,
  );
  return tiffFile(
    [
      [8, directory],
      [SENSOR_AT, sensor],
      [previewAt, preview],
    ],
    { firstDirectory: 8, isLittleEndian: true },
  );
}
