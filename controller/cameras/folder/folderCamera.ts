import { asNightError } from "../../../core/errors.ts";
import { createClock, type Clock, type ClockOrigin } from "../../timing/clock.ts";
import type { Camera, CameraEvent, CardFile, ExposureOrder } from "../camera.ts";
import { FolderFrames, type FolderFramesOptions } from "./frames.ts";

type FolderCameraOptions = {
  /** Opens the shutter and sets what can be set. */
  readonly body: Camera;
  readonly origin: ClockOrigin;
  readonly framesFolder: string;
  readonly folder?: Pick<FolderFramesOptions, "fileMsMax" | "pollMs">;
};

/**
 * A body that is released and set over its cable while its frames arrive in a folder by another way:
 * what it says of files is passed over, everything else goes on as it came.
 */
export function openFolderCamera(options: FolderCameraOptions): Camera {
  return new FolderCamera(options);
}

class FolderCamera implements Camera {
  readonly cameraId: string;
  readonly #body: Camera;
  readonly #clock: Clock;
  readonly #frames: FolderFrames;
  readonly #listeners: ((event: CameraEvent) => void)[] = [];
  #opened: { readonly frameIndex: number; readonly openedUtcMs: number } | null = null;

  constructor({ body, origin, framesFolder, folder }: FolderCameraOptions) {
    this.cameraId = body.cameraId;
    this.#body = body;
    this.#clock = createClock(origin);
    this.#frames = new FolderFrames({
      ...folder,
      folder: framesFolder,
      clock: this.#clock,
      tell: (event) => this.#tell(event),
    });
    body.onEvent((event) => this.#hear(event));
  }

  onEvent(listener: (event: CameraEvent) => void): void {
    this.#listeners.push(listener);
  }

  connect(): void {
    this.#frames.start().then(
      () => this.#body.connect(),
      (thrown: unknown) => {
        const { code, message: sentence } = asNightError(thrown);
        this.#tell({ kind: "failed", code, sentence, frameIndex: null, gone: true });
      },
    );
  }

  expose(order: ExposureOrder): void {
    this.#body.expose(order);
  }

  closeShutter(frameIndex: number): void {
    this.#body.closeShutter(frameIndex);
  }

  readStatus(): void {
    this.#body.readStatus();
  }

  async listCard(): Promise<readonly CardFile[]> {
    return await this.#frames.listCard();
  }

  async fetchFile(cameraHandle: number): Promise<Uint8Array> {
    return await this.#frames.fetchFile(cameraHandle);
  }

  async close(): Promise<void> {
    await this.#body.close();
    await this.#frames.close();
  }

  #hear(event: CameraEvent): void {
    switch (event.kind) {
      case "frameArrived":
      case "frameMissing":
        return;
      case "shutterOpened": {
        const openedUtcMs = this.#clock.utcOf(event.atMs);
        this.#opened = { frameIndex: event.frameIndex, openedUtcMs };
        break;
      }
      case "shutterClosed": {
        const { frameIndex, happened, atMs } = event;
        const { exposureSeconds } = happened;
        const openedUtcMs =
          this.#opened?.frameIndex === frameIndex
            ? this.#opened.openedUtcMs
            : this.#clock.utcOf(atMs) - exposureSeconds * 1000;
        this.#frames.await({ frameIndex, openedUtcMs, exposureSeconds });
        break;
      }
      default:
        break;
    }
    this.#tell(event);
  }

  #tell(event: CameraEvent): void {
    for (const listener of this.#listeners) listener(event);
  }
}
