import { mkdtempSync } from "node:fs";
import { mkdir, open, readFile, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";

/** The card's bytes: a folder of this machine that is removed when the camera is put away. */
export class CardFolder {
  readonly #folder: string;

  /** @param parent  Where the folder is made; the machine's temporary folder if left out. */
  constructor(parent: string = tmpdir()) {
    this.#folder = mkdtempSync(join(parent, "nattvakt-card-"));
  }

  async write(path: string, bytes: Uint8Array): Promise<void> {
    const file = join(this.#folder, path);
    await mkdir(dirname(file), { recursive: true });
    await writeFile(file, bytes);
  }

  read(path: string): Promise<Uint8Array> {
    return readFile(join(this.#folder, path));
  }

  /** At most `count` bytes from `start`; fewer at the end of the file. */
  async readPart(path: string, start: number, count: number): Promise<Uint8Array> {
    const file = await open(join(this.#folder, path), "r");
    try {
      const buffer = new Uint8Array(count);
      const { bytesRead } = await file.read(buffer, 0, count, start);
      return buffer.subarray(0, bytesRead);
    } finally {
      await file.close();
    }
  }

  async remove(path: string): Promise<void> {
    await rm(join(this.#folder, path), { force: true });
  }

  async close(): Promise<void> {
    await rm(this.#folder, { recursive: true, force: true });
  }
}
