import { join } from "node:path";
import { asNightError, NightError } from "../../../core/errors.ts";
import type { Log } from "../../log.ts";
import type { Camera, CameraEvent, CardFile, ExposureOrder, FilePiece } from "../camera.ts";
import { fetchOriginal } from "./originalFile.ts";
import { OriginalsList, type PendingOriginal } from "./list.ts";

/** A file that failed so often is left on the card. */
const ATTEMPTS_MAX = 5;

export type OriginalsOptions = {
  /** Where originals go; made when there is one. */
  readonly folder: string;
  readonly log: Log;
  readonly print?: (line: string) => void;
};

/**
 * A camera whose originals are fetched as well, wherever the night itself made do with a preview:
 * piece by piece between movements of the shutter, and what is left when the watch is over. What was
 * fetched half goes on where it stopped, after a lost link or a new start.
 */
export function keepOriginals(camera: Camera, options: OriginalsOptions): Camera {
  return camera.fetchPiece ? new OriginalsCamera(camera, options) : camera;
}

class OriginalsCamera implements Camera {
  readonly cameraId: string;
  readonly #camera: Camera;
  readonly #options: OriginalsOptions;
  readonly #list: OriginalsList;
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
    this.#list = new OriginalsList(options.folder, options.log);
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
    const count = this.#list.pending.length;
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
      this.#list.add(pending);
      this.#begin();
    }
  }

  #begin(): void {
    this.#work = this.#work.then(async () => {
      await this.#list.write();
      await this.#fetchAll();
    });
  }

  async #fetchAll(): Promise<void> {
    for (let next = this.#next(); next !== null; next = this.#next()) {
      try {
        await this.#fetch(next);
      } catch (thrown) {
        const error = asNightError(thrown);
        if (error.code === "camera.gone" || this.#isHurried) return;
        // A handle that led to another file, or nowhere, is looked for again.
        this.#handles.delete(keyOf(next));
        this.#options.log.warn("original.not_fetched", { ...next, sentence: error.message });
        this.#list.noteFailed(next);
      }
      await this.#list.write();
    }
  }

  #next(): PendingOriginal | null {
    if (!this.#isConnected || this.#isHurried) return null;
    return this.#list.pending.find(({ attempts }) => attempts < ATTEMPTS_MAX) ?? null;
  }

  async #fetch(pending: PendingOriginal): Promise<void> {
    const handle = await this.#handleOf(pending);
    const name = fileNameOf(pending);
    const kept = await fetchOriginal(
      {
        cameraName: pending.cameraName,
        read: (range) => this.fetchPiece(handle, range),
      },
      join(this.#options.folder, name),
      () => this.#isHurried,
    );
    this.#list.noteKept(pending, name, kept);
    this.#options.log.info("original.kept", { ...pending, ...kept });
  }

  async #handleOf(pending: PendingOriginal): Promise<number> {
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
}

function keyOf(file: { readonly cameraName: string; readonly captureDate: string }): string {
  return `${file.cameraName} ${file.captureDate}`;
}

/** The frame's number and the camera's own ending: cameras begin their names again. */
function fileNameOf({ frameIndex, cameraName }: PendingOriginal): string {
  const ending = /\.([A-Za-z0-9]{1,5})$/.exec(cameraName)?.[1]?.toLowerCase() ?? "raw";
  return `${String(frameIndex).padStart(6, "0")}.${ending}`;
}
