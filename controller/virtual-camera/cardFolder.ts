import { mkdtempSync, readdirSync, rmSync, statSync } from "node:fs";
import { mkdir, open, readFile, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";

const PREFIX = "nattvakt-card-";
/** A folder whose process is gone is left alone for this long: it may be in another container. */
const ORPHAN_MS = 3_600_000;

/**
 * The card's bytes: a folder of this machine that is removed when the camera is put away. A camera
 * that was killed could not do that; the next one does it for it.
 */
export class CardFolder {
  readonly #folder: string;

  /** @param parent  Where the folder is made; the machine's temporary folder if left out. */
  constructor(parent: string = tmpdir()) {
    sweep(parent);
    this.#folder = mkdtempSync(join(parent, `${PREFIX}${process.pid}-`));
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

/** Removes the cards of cameras that are no more. */
function sweep(parent: string): void {
  const pattern = new RegExp(`^${PREFIX}(\\d+)-`);
  for (const name of readdirSync(parent)) {
    const pid = pattern.exec(name)?.[1];
    if (pid === undefined || isRunning(Number(pid))) continue;
    try {
      const folder = join(parent, name);
      if (Date.now() - statSync(folder).mtimeMs < ORPHAN_MS) continue;
      rmSync(folder, { recursive: true, force: true });
    } catch {
      // Another user's, or another camera was quicker: not ours to worry about.
    }
  }
}

function isRunning(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return true;
  } catch (thrown) {
    return (thrown as NodeJS.ErrnoException).code === "EPERM";
  }
}
