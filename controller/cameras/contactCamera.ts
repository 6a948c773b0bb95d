import { asNightError, NightError } from "../../core/errors.ts";
import type { Scheduling } from "../../core/words/timingWords.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import {
  createClock,
  realMs,
  type Clock,
  type ClockOrigin,
  nightOf,
  realOf,
} from "../timing/clock.ts";
import { ContactProcess, type ContactProcessOptions } from "../release/contactProcess.ts";
import type { FromContact } from "../release/contactMessages.ts";
import { releaseLabel, type ReleaseTarget } from "../release/releaseTarget.ts";
import type { Camera, CameraDescription, CameraEvent, CardFile, ExposureOrder } from "./camera.ts";
import { FolderFrames, type FolderFramesOptions } from "./folder/frames.ts";
import type { AwaitedFrame } from "./folder/pairing.ts";

export type ContactCameraOptions = {
  readonly cameraId: string;
  readonly origin: ClockOrigin;
  readonly release: ReleaseTarget;
  /** Where settings are made and frames come from; nothing is set where they come from a folder. */
  readonly side:
    | {
        readonly kind: "folder";
        readonly framesFolder: string;
        /** The ISO that the photographer has set on the camera. */
        readonly fixedIso: number;
      }
    | { readonly kind: "body"; readonly body: Camera };
  /** What the body needs between two frames; it cannot say so itself. Night seconds. */
  readonly busySeconds: number;
  readonly contact?: Pick<ContactProcessOptions, "main" | "rescue">;
  readonly folder?: Pick<FolderFramesOptions, "fileMsMax" | "pollMs">;
  /** Called with how the system schedules the contact's process, whenever one begins. */
  readonly onScheduled?: (scheduling: Scheduling) => void;
};

/**
 * A camera that is released by a contact. Without a usable protocol its frames arrive in a folder and
 * nothing can be set on it: what it stands at is what the photographer says. Where its cable carries
 * all but the shutter, settings are made and frames fetched over it.
 */
export function openContactCamera(options: ContactCameraOptions): Camera {
  return new ContactCamera(options);
}

/** The other half of the camera, beside its release. */
type Side = {
  /** Connects, or connects again. @returns what it says of itself. */
  start(): Promise<Partial<CameraDescription>>;
  /** @returns what the exposure will be taken with. */
  prepare(exposure: Exposure): Promise<Exposure>;
  opened(frameIndex: number): void;
  closed(frame: AwaitedFrame): void;
  readStatus(): void;
  listCard(): Promise<readonly CardFile[]>;
  fetchFile(cameraHandle: number): Promise<Uint8Array>;
  /** Left out: files come whole. */
  readonly fetchPiece?: NonNullable<Camera["fetchPiece"]>;
  close(): Promise<void>;
};

/** The frame in hand; times are real milliseconds. */
type InHand = {
  readonly order: ExposureOrder;
  readonly prepared: Exposure;
  readonly pressedMs: number | null;
};

class ContactCamera implements Camera {
  readonly cameraId: string;
  readonly fetchPiece?: NonNullable<Camera["fetchPiece"]>;
  readonly #options: ContactCameraOptions;
  readonly #clock: Clock;
  readonly #contact: ContactProcess;
  readonly #side: Side;
  #reported: Partial<CameraDescription> = {};
  readonly #listeners: ((event: CameraEvent) => void)[] = [];
  #inHand: InHand | null = null;
  #isTaken = false;
  #scheduling: Scheduling = "ordinary";
  #readyTimer: NodeJS.Timeout | null = null;
  #closing: Promise<void> | null = null;

  constructor(options: ContactCameraOptions) {
    const { cameraId, origin, release, side } = options;
    this.cameraId = cameraId;
    this.#options = options;
    this.#clock = createClock(origin);
    this.#contact = new ContactProcess({
      ...options.contact,
      target: release,
      tell: (message) => this.#hear(message),
    });
    const tell = (event: CameraEvent): void => this.#tell(event);
    this.#side =
      side.kind === "body"
        ? bodySide(side.body, tell)
        : folderSide(side, { ...options.folder, clock: this.#clock, tell });
    if (this.#side.fetchPiece) this.fetchPiece = this.#side.fetchPiece;
  }

  onEvent(listener: (event: CameraEvent) => void): void {
    this.#listeners.push(listener);
  }

  connect(): void {
    if (this.#closing) return;
    // The contact first: taking it opens it, and a relay keeps what a dead process left it at. A body
    // whose shutter is held open by it may not even answer before.
    const connecting = this.#isTaken ? this.#meetSide() : this.#contact.start();
    void connecting.catch((thrown: unknown) => this.#fail(asNightError(thrown), null, "gone"));
  }

  async #meetSide(): Promise<void> {
    this.#reported = await this.#side.start();
    this.#tell({ kind: "connected", description: this.#describe() });
  }

  expose(order: ExposureOrder): void {
    const { frameIndex } = order;
    if (!this.#isTaken) return this.#fail(gone(), frameIndex, "gone");
    if (this.#inHand) {
      const error = new NightError("camera.busy", "A frame is being exposed already.");
      return this.#fail(error, frameIndex, "there");
    }
    this.#inHand = { order, prepared: order.exposure, pressedMs: null };
    void this.#side.prepare(order.exposure).then(
      (prepared) => this.#press(order, prepared),
      (thrown: unknown) => {
        this.#inHand = null;
        this.#fail(asNightError(thrown), frameIndex, "there");
      },
    );
  }

  #press(order: ExposureOrder, prepared: Exposure): void {
    const { frameIndex } = order;
    if (this.#inHand?.order !== order || this.#closing) return;
    this.#inHand = { order, prepared, pressedMs: null };
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

  readStatus(): void {
    this.#side.readStatus();
  }

  async listCard(): Promise<readonly CardFile[]> {
    return await this.#side.listCard();
  }

  async fetchFile(cameraHandle: number): Promise<Uint8Array> {
    return await this.#side.fetchFile(cameraHandle);
  }

  close(): Promise<void> {
    this.#closing ??= this.#end();
    return this.#closing;
  }

  async #end(): Promise<void> {
    if (this.#readyTimer) clearTimeout(this.#readyTimer);
    await this.#contact.end();
    await this.#side.close();
  }

  #describe(): CameraDescription {
    const { label, program } = this.#reported;
    return {
      serialNumber: "",
      profileId: this.#options.release.kind,
      isoLadder: [],
      fNumberLadder: [],
      iso: null,
      fNumber: null,
      focus: "unknown",
      clockOffsetMs: null,
      ...this.#reported,
      cameraId: this.cameraId,
      label: `${label ?? "Release contact"}, ${releaseLabel(this.#options.release)}`,
      // A dial on bulb is not "manual" for every camera, and is right here.
      program: program === "manual" ? "manual" : "unknown",
      exposureLadderSeconds: [],
      hasBulb: true,
    };
  }

  #hear(message: FromContact): void {
    switch (message.kind) {
      case "taken":
        this.#isTaken = true;
        this.#scheduling = message.scheduling;
        this.#options.onScheduled?.(message.scheduling);
        return void this.#meetSide().catch((thrown: unknown) =>
          this.#fail(asNightError(thrown), null, "gone"),
        );
      case "pressed":
        return this.#notePressed(message.pressId, message.atMs);
      case "released":
        return this.#noteReleased(message);
      case "failed":
        return this.#noteFailed(message);
    }
  }

  #notePressed(frameIndex: number, pressedMs: number): void {
    if (this.#inHand?.order.frameIndex !== frameIndex) return;
    this.#inHand = { ...this.#inHand, pressedMs };
    this.#side.opened(frameIndex);
    const atMs = nightOf(pressedMs, this.#options.origin);
    this.#tell({ kind: "shutterOpened", frameIndex, atMs });
  }

  #noteReleased({
    pressId: frameIndex,
    atMs: releasedMs,
    lateMs,
  }: Extract<FromContact, { kind: "released" }>): void {
    const { origin, busySeconds } = this.#options;
    const inHand = this.#inHand;
    if (inHand?.order.frameIndex !== frameIndex) return;
    this.#inHand = null;
    if (inHand.pressedMs === null) {
      // Taken back before the contact had closed: there is no frame.
      const error = new NightError("camera.refused", "The frame was taken back before it began.");
      return this.#fail(error, frameIndex, "there");
    }
    const exposureSeconds = ((releasedMs - inHand.pressedMs) * origin.rate) / 1000;
    const openedUtcMs = this.#clock.utcOf(nightOf(inHand.pressedMs, origin));
    this.#side.closed({ frameIndex, openedUtcMs, exposureSeconds });
    this.#tell({
      kind: "shutterClosed",
      frameIndex,
      atMs: nightOf(releasedMs, origin),
      happened: { ...inHand.prepared, exposureSeconds },
      ...(lateMs !== null && { closing: { lateMs, scheduling: this.#scheduling } }),
    });
    this.#readyTimer = setTimeout(
      () => this.#tell({ kind: "ready", atMs: this.#clock.monotonicMs() }),
      (busySeconds * 1000) / origin.rate,
    );
  }

  #noteFailed({ code, sentence, gone }: Extract<FromContact, { kind: "failed" }>): void {
    const frameIndex = this.#inHand?.order.frameIndex ?? null;
    this.#inHand = null;
    if (gone) this.#isTaken = false;
    this.#fail(new NightError(code, sentence), frameIndex, gone ? "gone" : "there");
  }

  #fail(error: NightError, frameIndex: number | null, camera: "gone" | "there"): void {
    const { code, message: sentence } = error;
    this.#tell({ kind: "failed", code, sentence, frameIndex, gone: camera === "gone" });
  }

  #tell(event: CameraEvent): void {
    if (this.#closing && event.kind === "failed") return;
    for (const listener of this.#listeners) listener(event);
  }
}

function gone(): NightError {
  return new NightError("release.gone", "The release contact is not there.");
}

/** Frames from a folder; nothing can be set, neither battery nor card be read. */
function folderSide(
  { framesFolder, fixedIso }: { readonly framesFolder: string; readonly fixedIso: number },
  options: Omit<FolderFramesOptions, "folder">,
): Side {
  const frames = new FolderFrames({ ...options, folder: framesFolder });
  const unread = { batteryPercent: null, freeBytes: null, freeFrames: null };
  return {
    start: async () => {
      await frames.start();
      return { fixedIso, clockOffsetMs: frames.clockOffsetMs };
    },
    prepare: (exposure) => Promise.resolve({ ...exposure, iso: fixedIso }),
    opened: () => undefined,
    closed: (frame) => frames.await(frame),
    readStatus: () =>
      options.tell({ kind: "status", atMs: options.clock.monotonicMs(), ...unread }),
    listCard: () => frames.listCard(),
    fetchFile: (handle) => frames.fetchFile(handle),
    close: () => frames.close(),
  };
}

/** Settings and frames over the body's own cable; only the shutter is the contact's. */
function bodySide(body: Camera, tell: (event: CameraEvent) => void): Side {
  let connecting: PromiseWithResolvers<CameraDescription> | null = null;
  body.onEvent((event) => {
    if (event.kind === "connected") {
      connecting?.resolve(event.description);
      connecting = null;
    } else if (event.kind === "failed" && connecting) {
      connecting.reject(new NightError(event.code, event.sentence));
      connecting = null;
    } else {
      tell(event);
    }
  });
  return {
    start: async () => {
      connecting ??= withResolvers();
      const { promise } = connecting;
      body.connect();
      return await promise;
    },
    prepare: async (exposure) => (await body.prepare?.(exposure)) ?? exposure,
    opened: (frameIndex) => body.noteReleased?.(frameIndex, "opened"),
    closed: ({ frameIndex }) => body.noteReleased?.(frameIndex, "closed"),
    readStatus: () => body.readStatus(),
    listCard: () => body.listCard(),
    fetchFile: (handle) => body.fetchFile(handle),
    ...(body.fetchPiece && { fetchPiece: body.fetchPiece.bind(body) }),
    close: () => body.close(),
  };
}

type PromiseWithResolvers<T> = {
  readonly promise: Promise<T>;
  readonly resolve: (value: T) => void;
  readonly reject: (error: NightError) => void;
};

function withResolvers<T>(): PromiseWithResolvers<T> {
  let resolve: (value: T) => void = () => undefined;
  let reject: (error: NightError) => void = () => undefined;
  const promise = new Promise<T>((onValue, onError) => {
    resolve = onValue;
    reject = onError;
  });
  return { promise, resolve, reject };
}
