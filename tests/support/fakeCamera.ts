import type {
  Camera,
  CameraDescription,
  CameraEvent,
  CardFile,
  ExposureOrder,
} from "../../controller/cameras/camera.ts";
import type { Clock } from "../../controller/timing/clock.ts";
import { NightError } from "../../core/errors.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import { monotonicMs, type MonotonicMs } from "../../core/units.ts";

export type FakeCameraOptions = {
  readonly clock: Clock;
  /** The JPEG of a frame taken with this exposure. */
  readonly picture: (exposure: Exposure, frameIndex: number) => Uint8Array | Promise<Uint8Array>;
  readonly description?: Partial<CameraDescription>;
  readonly busyMs?: number;
  /** ISO at which it takes every frame, given by its files alone. */
  readonly unreportedIso?: number;
};

/** A camera without a protocol: exact, instant, and as faulty as a test wants it. */
export class FakeCamera implements Camera {
  readonly cameraId = "camera-1";
  readonly orders: ExposureOrder[] = [];
  readonly card = new Map<number, { file: CardFile; jpeg: Uint8Array }>();
  isShutterOpen = false;
  isClosed = false;
  connectCount = 0;
  /** Pictures being made. */
  developingCount = 0;
  #closing: AbortController | null = null;
  /** Does something else instead of taking this frame; true: it did. */
  fault: (order: ExposureOrder) => boolean = () => false;
  readonly #options: FakeCameraOptions;
  #listener: (event: CameraEvent) => void = () => {};

  constructor(options: FakeCameraOptions) {
    this.#options = options;
  }

  onEvent(listener: (event: CameraEvent) => void): void {
    this.#listener = listener;
  }

  emit(event: CameraEvent): void {
    this.#listener(event);
  }

  connect(): void {
    this.connectCount += 1;
    this.isShutterOpen = false;
    this.emit({
      kind: "connected",
      description: {
        cameraId: this.cameraId,
        label: "A made-up body",
        serialNumber: "0001",
        profileId: "made-up",
        isoLadder: [],
        fNumberLadder: [],
        exposureLadderSeconds: [],
        hasBulb: true,
        iso: 800,
        fNumber: 2.8,
        program: "manual",
        focus: "manual",
        clockOffsetMs: 0,
        ...this.#options.description,
      },
    });
  }

  expose(order: ExposureOrder): void {
    this.orders.push(order);
    if (this.fault(order)) return;
    void this.#take(order);
  }

  closeShutter(): void {
    this.#closing?.abort();
  }

  readStatus(): void {
    const atMs = this.#options.clock.monotonicMs();
    this.emit({ kind: "status", atMs, batteryPercent: 80, freeBytes: 1e9, freeFrames: 900 });
  }

  listCard(): Promise<readonly CardFile[]> {
    return Promise.resolve([...this.card.values()].map(({ file }) => file));
  }

  fetchFile(cameraHandle: number): Promise<Uint8Array> {
    const entry = this.card.get(cameraHandle);
    if (!entry) return Promise.reject(new NightError("camera.frame_missing", "It is gone."));
    return Promise.resolve(entry.jpeg);
  }

  close(): Promise<void> {
    this.isClosed = true;
    this.isShutterOpen = false;
    return Promise.resolve();
  }

  async #take({ frameIndex, exposure, openAtMs }: ExposureOrder): Promise<void> {
    const { clock, picture, busyMs = 1000, unreportedIso } = this.#options;
    this.isShutterOpen = true;
    this.emit({ kind: "shutterOpened", frameIndex, atMs: openAtMs });
    this.#closing = new AbortController();
    const closeMs = monotonicMs(openAtMs + exposure.exposureSeconds * 1000);
    await clock.sleepUntil(closeMs, this.#closing.signal).catch(() => {});
    this.isShutterOpen = false;
    const atMs = monotonicMs(Math.min(clock.monotonicMs(), closeMs));
    const happened = { ...exposure, exposureSeconds: (atMs - openAtMs) / 1000 };
    const isReported = unreportedIso === undefined;
    this.emit({
      ...{ kind: "shutterClosed", frameIndex, atMs, happened },
      ...(isReported ? {} : { isIsoReported: false }),
    });
    this.developingCount += 1;
    const jpeg = await picture(
      isReported ? happened : { ...happened, iso: unreportedIso },
      frameIndex,
    );
    this.developingCount -= 1;
    const file = this.keepOnCard(frameIndex, jpeg, openAtMs);
    // The file is there a little before the camera is ready, as on the real thing.
    await clock.sleepUntil(monotonicMs(atMs + 0.8 * busyMs));
    this.emit({ kind: "frameArrived", frameIndex, atMs, jpeg, isOriginal: true, ...file });
    await clock.sleepUntil(monotonicMs(atMs + busyMs));
    this.emit({ kind: "ready", atMs: clock.monotonicMs() });
  }

  /** What the card holds of a frame, whether or not anybody was informed. */
  keepOnCard(frameIndex: number, jpeg: Uint8Array, openedMs: MonotonicMs): CardFile {
    const date = new Date(this.#options.clock.utcOf(openedMs)).toISOString();
    const file: CardFile = {
      cameraHandle: frameIndex + 1,
      cameraName: `MADE${String(frameIndex + 1).padStart(4, "0")}.JPG`,
      bytes: jpeg.byteLength,
      captureDate: date.slice(0, 19).replace(/[-:]/g, ""),
    };
    this.card.set(file.cameraHandle, { file, jpeg });
    return file;
  }
}
