import { mkdirSync, rmSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { createRandom } from "../../core/random.ts";

/** Around packets, first reads and large reads, with the 12 bytes of a header in mind. */
const FILE_BYTES = [
  1, 499, 500, 501, 1_012, 16_371, 16_372, 16_373, 524_276, 524_288, 1_048_564, 26_214_400,
];

/** A card's folder with files of awkward sizes. @returns its path. */
export function makeCameraFolder(parent: string): string {
  const dir = join(parent, "camera");
  const folder = join(dir, "DCIM", "100NIGHT");
  rmSync(dir, { recursive: true, force: true });
  mkdirSync(folder, { recursive: true });
  const random = createRandom(4);
  for (const bytes of FILE_BYTES) {
    const block = Buffer.from(Uint8Array.from({ length: 4096 }, () => random.integer(256)));
    const content = Buffer.alloc(bytes);
    for (let at = 0, count = 0; at < bytes; at += block.length, count += 1) {
      block.writeUInt32LE(count, 0);
      block.copy(content, at);
    }
    writeFileSync(join(folder, `F${String(bytes).padStart(8, "0")}.JPG`), content);
  }
  return dir;
}
