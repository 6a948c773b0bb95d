import { asNightError, NightError } from "../../core/errors.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import { createClock, realMs, type Clock, type ClockOrigin } from "../clock.ts";
import { ContactProcess, type ContactProcessOptions } from "../release/contactProcess.ts";
import type { FromContact } from "../release/contactMessages.ts";
import { releaseLabel, type ReleaseTarget } from "../release/releaseTarget.ts";
import { nightOf, realOf } from "../shutter/nightTime.ts";
import type { Camera, CameraDescription, CameraEvent, CardFile, ExposureOrder } from "./camera.ts";
import { FolderFrames, type FolderFramesOptions } from "./folderFrames.ts";

export type ContactCameraOptions = {
  readonly cameraId: string;
  readonly origin: ClockOrigin;
  readonly release: ReleaseTarget;
  readonly framesFolder: string;
  /** The ISO that the photographer has set on the camera. */
  readonly fixedIso: number;
  /** What the body needs between two frames; it cannot say so itself. Night seconds. */
  readonly busySeconds: number;
  readonly contact?: Pick<ContactProcessOptions, "main" | "rescue">;
  readonly folder?: Pick<FolderFramesOptions, "fileMsMax" | "pollMs">;
};

/**
 * A camera without a usable protocol: released by a contact, metered from a folder into which its
 * files arrive. Nothing can be set on it; what it stands at is what the photographer says.
 */
export function openContactCamera(options: ContactCameraOptions): Camera {
  return new ContactCamera(options);
}

/** The frame in hand; times are real milliseconds. */
type InHand = { readonly order: ExposureOrder; readonly pressedMs: number | null };

class ContactCamera implements Camera {
  readonly cameraId: string;
  readonly #options: ContactCameraOptions;
  readonly #clock: Clock;
  readonly #contact: ContactProcess;
  readonly #frames: FolderFrames;
  readonly #listeners: ((event: CameraEvent) => void)[] = [];
  #inHand: InHand | null = null;
  #isTaken = false;
  #readyTimer: NodeJS.Timeout | null = null;
  #closing: Promise<void> | null = null;

  constructor(options: ContactCameraOptions) {
    const { cameraId, origin, release, framesFolder } = options;
    this.cameraId = cameraId;
    this.#options = options;
    this.#clock = createClock(origin);
    this.#contact = new ContactProcess({
      ...options.contact,
      target: release,
      tell: (message) => this.#hear(message),
    });
    this.#frames = new FolderFrames({
      ...options.folder,
      folder: framesFolder,
      clock: this.#clock,
      tell: (event) => this.#tell(event),
    });
  }

  onEvent(listener: (event: CameraEvent) => void): void {
    this.#listeners.push(listener);
  }

  connect(): void {
    if (this.#closing) return;
    if (this.#isTaken) return this.#tell({ kind: "connected", description: this.#describe() });
    void this.#frames
      .start()
      .then(() => this.#contact.start())
      .catch((thrown: unknown) => this.#fail(asNightError(thrown), null, true));
  }

  expose(order: ExposureOrder): void {
    const { frameIndex } = order;
    if (!this.#isTaken) return this.#fail(gone(), frameIndex, true);
    if (this.#inHand) {
      const error = new NightError("camera.busy", "A frame is being exposed already.");
      return this.#fail(error, frameIndex, false);
    }
    this.#inHand = { order, pressedMs: null };
    const { rate } = this.#options.origin;
    this.#contact.press({
      pressId: frameIndex,
      atMs: Math.max(realOf(order.openAtMs, this.#options.origin), realMs()),
      holdMs: (order.exposure.exposureSeconds * 1000) / rate,
    });
  }

  closeShutter(frameIndex: number): void {
    this.#contact.release(frameIndex);
  }

  /** Neither battery nor card can be read. */
  readStatus(): void {
    const atMs = this.#clock.monotonicMs();
    this.#tell({ kind: "status", atMs, batteryPercent: null, freeBytes: null, freeFrames: null });
  }

  async listCard(): Promise<readonly CardFile[]> {
    return await this.#frames.listCard();
  }

  async fetchFile(cameraHandle: number): Promise<Uint8Array> {
    return await this.#frames.fetchFile(cameraHandle);
  }

  close(): Promise<void> {
    this.#closing ??= this.#end();
    return this.#closing;
  }

  async #end(): Promise<void> {
    if (this.#readyTimer) clearTimeout(this.#readyTimer);
    await this.#contact.end();
    await this.#frames.close();
  }

  #describe(): CameraDescription {
    return {
      cameraId: this.cameraId,
      label: `Release contact, ${releaseLabel(this.#options.release)}`,
      serialNumber: "",
      profileId: this.#options.release.kind,
      isoLadder: [],
      fixedIso: this.#options.fixedIso,
      fNumberLadder: [],
      exposureLadderSeconds: [],
      hasBulb: true,
      iso: null,
      fNumber: null,
      program: "unknown",
      focus: "unknown",
      clockOffsetMs: this.#frames.clockOffsetMs,
    };
  }

  #hear(message: FromContact): void {
    switch (message.kind) {
      case "taken":
        this.#isTaken = true;
        return this.#tell({ kind: "connected", description: this.#describe() });
      case "pressed":
        return this.#notePressed(message.pressId, message.atMs);
      case "released":
        return this.#noteReleased(message.pressId, message.atMs);
      case "failed":
        return this.#noteFailed(message);
    }
  }

  #notePressed(frameIndex: number, pressedMs: number): void {
    if (this.#inHand?.order.frameIndex !== frameIndex) return;
    this.#inHand = { ...this.#inHand, pressedMs };
    const atMs = nightOf(pressedMs, this.#options.origin);
    this.#tell({ kind: "shutterOpened", frameIndex, atMs });
  }

  #noteReleased(frameIndex: number, releasedMs: number): void {
    const { origin, busySeconds } = this.#options;
    const inHand = this.#inHand;
    if (inHand?.order.frameIndex !== frameIndex) return;
    this.#inHand = null;
    if (inHand.pressedMs === null) {
      // Taken back before the contact had closed: there is no frame.
      const error = new NightError("camera.refused", "The frame was taken back before it began.");
      return this.#fail(error, frameIndex, false);
    }
    const exposureSeconds = ((releasedMs - inHand.pressedMs) * origin.rate) / 1000;
    const openedUtcMs = this.#clock.utcOf(nightOf(inHand.pressedMs, origin));
    this.#frames.await({ frameIndex, openedUtcMs, exposureSeconds });
    this.#tell({
      kind: "shutterClosed",
      frameIndex,
      atMs: nightOf(releasedMs, origin),
      happened: this.#happened(inHand.order.exposure, exposureSeconds),
    });
    this.#readyTimer = setTimeout(
      () => this.#tell({ kind: "ready", atMs: this.#clock.monotonicMs() }),
      (busySeconds * 1000) / origin.rate,
    );
  }

  #happened(ordered: Exposure, exposureSeconds: number): Exposure {
    return { exposureSeconds, iso: this.#options.fixedIso, fNumber: ordered.fNumber };
  }

  #noteFailed({ code, sentence, gone }: Extract<FromContact, { kind: "failed" }>): void {
    const frameIndex = this.#inHand?.order.frameIndex ?? null;
    this.#inHand = null;
    if (gone) this.#isTaken = false;
    this.#fail(new NightError(code, sentence), frameIndex, gone);
  }

  #fail(error: NightError, frameIndex: number | null, gone: boolean): void {
    const { code, message: sentence } = error;
    this.#tell({ kind: "failed", code, sentence, frameIndex, gone });
  }

  #tell(event: CameraEvent): void {
    if (this.#closing && event.kind === "failed") return;
    for (const listener of this.#listeners) listener(event);
  }
}

function gone(): NightError {
  return new NightError("release.gone", "The release contact is not there.");
}
