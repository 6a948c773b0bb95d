import { mkdirSync, readFileSync } from "node:fs";
import { appendFile, open, rename, stat } from "node:fs/promises";
import { join } from "node:path";
import { asNightError, NightError } from "../../core/errors.ts";
import { writeWhole } from "../archive/frameFiles.ts";
import type { Log } from "../log.ts";
import type { Camera, CameraEvent, CardFile, ExposureOrder, FilePiece } from "./camera.ts";

/** One request; the timing thread cuts it further, into what fits before the shutter moves. */
const PIECE_BYTES = 4 * 1024 * 1024;
/** Read again at the end, from the camera and from the disk, and compared. */
const PROOF_BYTES = 64 * 1024;
const INDEX_NAME = "pending.json";
/** A file that failed so often is left on the card. */
const ATTEMPTS_MAX = 5;

/** An original that is still on the card alone. Names and dates survive a new session; handles do not. */
type Pending = {
  readonly frameIndex: number;
  readonly cameraName: string;
  readonly captureDate: string;
  readonly attempts: number;
};

export type OriginalsOptions = {
  /** Where originals go; made when there is one. */
  readonly folder: string;
  readonly log: Log;
  readonly print?: (line: string) => void;
};

/**
 * A camera whose originals are fetched as well, wherever the night itself made do with a preview:
 * piece by piece between movements of the shutter, and what is left when the watch is over.
 *
 * What was fetched half goes on where it stopped, after a lost link or a new start; a file carries
 * its name only when it is whole and a stretch of it, read from the camera once more, is the same.
 */
export function keepOriginals(camera: Camera, options: OriginalsOptions): Camera {
  return camera.fetchPiece ? new OriginalsCamera(camera, options) : camera;
}

class OriginalsCamera implements Camera {
  readonly cameraId: string;
  readonly #camera: Camera;
  readonly #options: OriginalsOptions;
  #pending: readonly Pending[];
  /** By name and date, as the running session has them. */
  readonly #handles = new Map<string, number>();
  #isConnected = false;
  #isHurried = false;
  #closing: Promise<void> | null = null;
  #work: Promise<void> = Promise.resolve();

  constructor(camera: Camera, options: OriginalsOptions) {
    this.cameraId = camera.cameraId;
    this.#camera = camera;
    this.#options = options;
    this.#pending = readIndex(options.folder);
    camera.onEvent((event) => this.#hear(event));
  }

  onEvent(listener: (event: CameraEvent) => void): void {
    this.#camera.onEvent(listener);
  }

  connect(): void {
    this.#camera.connect();
  }

  expose(order: ExposureOrder): void {
    this.#camera.expose(order);
  }

  closeShutter(frameIndex: number): void {
    this.#camera.closeShutter(frameIndex);
  }

  readStatus(): void {
    this.#camera.readStatus();
  }

  listCard(): Promise<readonly CardFile[]> {
    return this.#camera.listCard();
  }

  fetchFile(cameraHandle: number): Promise<Uint8Array> {
    return this.#camera.fetchFile(cameraHandle);
  }

  fetchPiece(
    cameraHandle: number,
    range: { readonly offset: number; readonly bytes: number },
  ): Promise<FilePiece> {
    return this.#camera.fetchPiece!(cameraHandle, range);
  }

  /** Fetches what is left first; asked a second time it ends at once, and the next start goes on. */
  close(): Promise<void> {
    if (this.#closing) this.#isHurried = true;
    this.#closing ??= this.#finish();
    return this.#isHurried ? this.#camera.close() : this.#closing;
  }

  async #finish(): Promise<void> {
    const count = this.#pending.length;
    if (count > 0 && this.#isConnected) {
      this.#options.print?.(`Fetching ${count} originals from the card; once more to end at once.`);
    }
    await this.#work;
    await this.#camera.close();
  }

  #hear(event: CameraEvent): void {
    if (event.kind === "connected") {
      this.#isConnected = true;
      // Handles of an earlier session mean nothing any more.
      this.#handles.clear();
      this.#begin();
    } else if (event.kind === "failed" && event.gone) {
      this.#isConnected = false;
    } else if (event.kind === "frameArrived" && !event.isOriginal) {
      const { frameIndex, cameraName, captureDate, cameraHandle } = event;
      const pending = { frameIndex, cameraName, captureDate, attempts: 0 };
      this.#handles.set(keyOf(pending), cameraHandle);
      this.#pending = [...this.#pending, pending];
      this.#begin();
    }
  }

  #begin(): void {
    this.#work = this.#work.then(async () => {
      await this.#writeIndex();
      await this.#fetchAll();
    });
  }

  async #fetchAll(): Promise<void> {
    for (let next = this.#next(); next !== null; next = this.#next()) {
      try {
        await this.#fetch(next);
        this.#pending = this.#pending.filter((one) => one !== next);
        this.#options.log.info("original.kept", { ...next });
      } catch (thrown) {
        const error = asNightError(thrown);
        if (error.code === "camera.gone" || this.#isHurried) return;
        this.#options.log.warn("original.not_fetched", { ...next, sentence: error.message });
        const failed = { ...next, attempts: next.attempts + 1 };
        this.#pending = this.#pending.map((one) => (one === next ? failed : one));
      }
      await this.#writeIndex();
    }
  }

  #next(): Pending | null {
    if (!this.#isConnected || this.#isHurried) return null;
    return this.#pending.find(({ attempts }) => attempts < ATTEMPTS_MAX) ?? null;
  }

  async #fetch(pending: Pending): Promise<void> {
    const handle = await this.#handleOf(pending);
    const target = join(this.#options.folder, nameOf(pending));
    const part = `${target}.part`;
    mkdirSync(this.#options.folder, { recursive: true });
    let have = await bytesOf(part);
    for (;;) {
      if (this.#isHurried) throw new NightError("camera.gone", "The fetching was ended.");
      const range = { offset: have, bytes: PIECE_BYTES };
      const { bytes, totalBytes, cameraName } = await this.fetchPiece(handle, range);
      if (cameraName !== pending.cameraName) throw this.#otherFile(pending);
      await appendFile(part, bytes, { flush: true } as object);
      have += bytes.length;
      if (have >= totalBytes) break;
      if (bytes.length === 0) throw new NightError("ptp.truncated", "The file ended early.");
    }
    await this.#prove(part, handle, have);
    await rename(part, target);
  }

  /** Compares a stretch in the middle; a file that differs is begun anew. */
  async #prove(part: string, handle: number, totalBytes: number): Promise<void> {
    const offset = Math.max(0, Math.floor(totalBytes / 2 - PROOF_BYTES / 2));
    const piece = await this.fetchPiece(handle, { offset, bytes: PROOF_BYTES });
    const kept = Buffer.alloc(piece.bytes.length);
    const file = await open(part, "r+");
    try {
      await file.read(kept, 0, kept.length, offset);
      const { size } = await file.stat();
      if (size === piece.totalBytes && kept.equals(piece.bytes)) return;
      await file.truncate(0);
    } finally {
      await file.close();
    }
    throw new NightError("ptp.truncated", "The fetched file is not the one on the card.");
  }

  async #handleOf(pending: Pending): Promise<number> {
    const key = keyOf(pending);
    const known = this.#handles.get(key);
    if (known !== undefined) return known;
    for (const file of await this.#camera.listCard()) {
      this.#handles.set(keyOf(file), file.cameraHandle);
    }
    const found = this.#handles.get(key);
    if (found !== undefined) return found;
    throw new NightError("camera.frame_missing", `${pending.cameraName} is not on the card.`);
  }

  #otherFile(pending: Pending): NightError {
    this.#handles.delete(keyOf(pending));
    return new NightError("camera.frame_missing", "The camera gave the handle to another file.");
  }

  async #writeIndex(): Promise<void> {
    try {
      mkdirSync(this.#options.folder, { recursive: true });
      await writeWhole(join(this.#options.folder, INDEX_NAME), JSON.stringify(this.#pending));
    } catch (thrown) {
      // The originals are on the card all the same; the night does not stop for a list of them.
      this.#options.log.warn("original.index_not_written", { why: asNightError(thrown).message });
    }
  }
}

function keyOf(file: { readonly cameraName: string; readonly captureDate: string }): string {
  return `${file.cameraName} ${file.captureDate}`;
}

/** The frame's number and the camera's own ending: cameras begin their names anew. */
function nameOf({ frameIndex, cameraName }: Pending): string {
  const ending = /\.([A-Za-z0-9]{1,5})$/.exec(cameraName)?.[1]?.toLowerCase() ?? "raw";
  return `${String(frameIndex).padStart(6, "0")}.${ending}`;
}

function readIndex(folder: string): readonly Pending[] {
  try {
    const list = JSON.parse(readFileSync(join(folder, INDEX_NAME), "utf8")) as Pending[];
    return list.map((one) => ({ ...one, attempts: 0 }));
  } catch {
    // There is none yet, or it cannot be read: what is on the card stays there.
    return [];
  }
}

async function bytesOf(file: string): Promise<number> {
  try {
    return (await stat(file)).size;
  } catch {
    return 0;
  }
}
