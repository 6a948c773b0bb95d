import { EVENTS } from "../../core/ptp/events.ts";
import { formatDateTime } from "../../core/ptp/dateTime.ts";
import type { TransactionId } from "../../core/ptp/ids.ts";
import { batteryLevel } from "../../core/ptp/properties.ts";
import type { Random } from "../../core/random.ts";
import type { MonotonicMs } from "../../core/units.ts";
import type { Clock } from "../timing/clock.ts";
import { batteryPercent } from "./battery.ts";
import { createCameraClock, type CameraClock } from "./cameraClock.ts";
import type { CameraSettings } from "./cameraSettings.ts";
import { Capture, type Exposed } from "./capture.ts";
import type { CardFolder } from "./cardFolder.ts";
import type { Picture, PictureSource } from "./picture.ts";
import { PropertyState } from "./propertyState.ts";
import { Store, STORAGE_ID, type StoredObject } from "./store.ts";

/** What the camera says of itself. */
export type CameraIdentity = {
  readonly manufacturer: string;
  readonly model: string;
  readonly deviceVersion: string;
  readonly serialNumber: string;
};

/** Something that happened in the camera, for the host's ears. */
type CameraNotice = {
  readonly code: number;
  /** Null: it belongs to no transaction. */
  readonly transactionId: TransactionId | null;
  readonly sessionNumber: number | null;
  readonly parameters: readonly number[];
};

type CameraParts = {
  readonly identity: CameraIdentity;
  readonly settings: CameraSettings;
  readonly clock: Clock;
  readonly random: Random;
  readonly pictures: PictureSource;
  readonly card: CardFolder;
  /** One line for the person who runs the camera. */
  readonly report: (line: string) => void;
  /** Switched off by the host or by an empty battery. */
  readonly onOff: (why: string) => void;
  /** The link is to break now: a fault. */
  readonly onLinkFault: () => void;
};

/** How often the battery is looked at, night ms. */
const BATTERY_LOOK_MS = 60_000;

/**
 * The body behind the protocol: shutter, card, battery, clock and properties. One camera lives as
 * long as the process; hosts come and go.
 */
export class VirtualCamera {
  readonly identity: CameraIdentity;
  readonly settings: CameraSettings;
  readonly capture: Capture;
  readonly store: Store;
  readonly properties: PropertyState;
  readonly #parts: CameraParts;
  readonly #cameraClock: CameraClock;
  readonly #faults: Random;
  readonly #onMs: MonotonicMs;
  readonly #listeners = new Set<(notice: CameraNotice) => void>();
  readonly #batteryTimer: NodeJS.Timeout;
  #announcedPercent: number;
  #sessionCount = 0;
  /** Frames become files one after the other, in the order in which they were taken. */
  #files: Promise<void> = Promise.resolve();
  #isOff = false;

  constructor(parts: CameraParts) {
    const { settings, clock, pictures } = parts;
    this.#parts = parts;
    this.identity = parts.identity;
    this.settings = settings;
    this.#faults = parts.random.fork("faults");
    this.#onMs = clock.monotonicMs();
    this.#cameraClock = createCameraClock(
      clock,
      settings.clockDriftSeconds,
      settings.clockGainSecondsPerDay,
    );
    this.store = new Store({
      capacityBytes: settings.cardBytes,
      typicalBytes: pictures.typicalBytes,
    });
    this.properties = new PropertyState({
      clock,
      cameraClock: this.#cameraClock,
      settings,
      batteryPercent: () => this.batteryPercent(),
      widthPx: pictures.widthPx,
      heightPx: pictures.heightPx,
    });
    this.capture = new Capture({
      clock,
      busySeconds: settings.busySeconds,
      closeLagSeconds: settings.closeLagSeconds,
      bulbLimitSeconds: settings.bulbLimitSeconds,
      orphanSeconds: settings.orphanSeconds,
      onOpened: ({ frameIndex }) => {
        if (frameIndex === settings.faults.dropLinkAtFrame) parts.onLinkFault();
      },
      onClosed: (exposed) => this.#keep(exposed),
    });
    this.#announcedPercent = Math.round(this.batteryPercent());
    // No faster than 20 looks a real second, however fast the night runs.
    const lookMs = Math.max(50, BATTERY_LOOK_MS / clock.origin.rate);
    this.#batteryTimer = setInterval(() => this.#lookAtBattery(), lookMs);
    this.#batteryTimer.unref();
  }

  /** Charge left, percent, not rounded. */
  batteryPercent(): number {
    const { batteryPercent: startPercent, batteryHours } = this.settings;
    return batteryPercent(startPercent, batteryHours, {
      onMs: this.#parts.clock.monotonicMs() - this.#onMs,
      openMs: this.capture.openMs(),
      frameCount: this.capture.frameCount,
    });
  }

  /** Listens to what happens; the answer ends the listening. */
  onEvent(listener: (notice: CameraNotice) => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  nextSessionNumber(): number {
    this.#sessionCount += 1;
    return this.#sessionCount;
  }

  /** Whether the fault of a camera that is busy for no reason strikes now. */
  feelsBusy(): boolean {
    const { busyProbability } = this.settings.faults;
    return busyProbability > 0 && this.#faults.uniform() < busyProbability;
  }

  announceProperty(code: number): void {
    this.#tell({
      code: EVENTS.DevicePropChanged,
      transactionId: null,
      sessionNumber: null,
      parameters: [code],
    });
  }

  report(line: string): void {
    this.#parts.report(line);
  }

  readFile(object: StoredObject): Promise<Uint8Array> {
    return this.#parts.card.read(this.store.pathOf(object));
  }

  readFilePart(object: StoredObject, start: number, count: number): Promise<Uint8Array> {
    return this.#parts.card.readPart(this.store.pathOf(object), start, count);
  }

  async deleteFile(object: StoredObject): Promise<void> {
    const path = this.store.pathOf(object);
    this.store.remove(object.handle);
    if (object.kind === "picture") await this.#parts.card.remove(path);
  }

  async formatCard(): Promise<void> {
    const pictures = this.store.list().filter((object) => object.kind === "picture");
    const paths = pictures.map((object) => this.store.pathOf(object));
    this.store.clear(this.#dateText(this.#parts.clock.monotonicMs()));
    for (const path of paths) await this.#parts.card.remove(path);
  }

  powerDown(): void {
    this.#switchOff("switched off by the host");
  }

  /** Waits until every frame taken so far is a file or lost. */
  async settle(): Promise<void> {
    await this.#files;
  }

  /** Closes the shutter and puts everything away; the card goes too, so nothing is waited for. */
  async close(): Promise<void> {
    this.#isOff = true;
    clearInterval(this.#batteryTimer);
    this.capture.closeNow();
    await this.#parts.pictures.close();
    await this.#files;
    await this.#parts.card.close();
  }

  /** A frame is developed at once; files are written in the order in which frames were taken. */
  #keep(exposed: Exposed): void {
    const developing = this.#develop(exposed);
    developing.catch(() => {
      // Reported when its turn comes to be written.
    });
    this.#files = this.#files
      .then(() => this.#makeFile(exposed, developing))
      .finally(() => {
        this.capture.releaseBuffer();
      });
  }

  #develop(exposed: Exposed): Promise<Picture> {
    return this.#parts.pictures.develop({
      frameIndex: exposed.frameIndex,
      openedMs: exposed.openedMs,
      closedMs: exposed.closedMs,
      openedUtcMs: this.#parts.clock.utcOf(exposed.openedMs),
      exposure: exposed.exposure,
      cameraUtcMs: this.#cameraClock.utcOf(exposed.openedMs),
      utcOffsetMinutes: this.settings.utcOffsetMinutes,
      isManual: exposed.isManual,
    });
  }

  async #makeFile(exposed: Exposed, developing: Promise<Picture>): Promise<void> {
    const { card } = this.#parts;
    const { faults } = this.settings;
    try {
      const picture = await developing;
      if (exposed.frameIndex === faults.cardFullAtFrame) this.store.isForcedFull = true;
      if (!this.store.hasRoom(picture.jpeg.byteLength)) return this.#tellFull(exposed);
      const isDamaged = exposed.frameIndex === faults.corruptJpegAtFrame;
      const jpeg = isDamaged ? damaged(picture.jpeg) : picture.jpeg;
      await card.write(this.store.nextPath(), jpeg);
      this.#enter(exposed, picture, jpeg.byteLength);
    } catch (thrown) {
      this.report(`frame ${exposed.frameIndex} is lost: ${String(thrown)}`);
      // No room on the machine that plays the card is a full card.
      if ((thrown as NodeJS.ErrnoException).code === "ENOSPC") return this.#tellFull(exposed);
    }
    if (exposed.kind === "timed") {
      this.#notify(exposed, EVENTS.CaptureComplete, exposed.transactionId);
    }
  }

  #enter(exposed: Exposed, picture: Picture, bytes: number): void {
    const object = this.store.add({
      bytes,
      thumbnail: picture.thumbnail,
      widthPx: picture.widthPx,
      heightPx: picture.heightPx,
      captureDate: this.#dateText(exposed.openedMs),
    });
    this.report(`${object.name} written: frame ${exposed.frameIndex}, ${bytes} bytes`);
    if (exposed.frameIndex !== this.settings.faults.loseObjectAddedAtFrame) {
      this.#notify(exposed, EVENTS.ObjectAdded, object.handle);
    }
  }

  #dateText(atMs: MonotonicMs): string {
    const { utcOffsetMinutes } = this.settings;
    const wallMs = this.#cameraClock.utcOf(atMs) + utcOffsetMinutes * 60_000;
    return formatDateTime({ wallMs, offsetMinutes: utcOffsetMinutes }, { withTenths: true });
  }

  #tellFull(exposed: Exposed): void {
    this.report(`the card is full: frame ${exposed.frameIndex} is lost`);
    this.#notify(exposed, EVENTS.StoreFull, STORAGE_ID);
  }

  #notify(exposed: Exposed, code: number, parameter: number): void {
    const { transactionId, sessionNumber } = exposed;
    this.#tell({ code, transactionId, sessionNumber, parameters: [parameter] });
  }

  #tell(notice: CameraNotice): void {
    for (const listener of this.#listeners) listener(notice);
  }

  #lookAtBattery(): void {
    const percent = Math.round(this.batteryPercent());
    if (percent === this.#announcedPercent) return;
    this.#announcedPercent = percent;
    this.announceProperty(batteryLevel.code);
    if (percent === 0) this.#switchOff("the battery is empty");
  }

  #switchOff(why: string): void {
    if (this.#isOff) return;
    this.#isOff = true;
    clearInterval(this.#batteryTimer);
    this.capture.closeNow();
    this.#parts.onOff(why);
  }
}

/** A file whose end was never written, as a card pulled too early leaves it. */
function damaged(jpeg: Uint8Array): Uint8Array {
  return jpeg.slice(0, Math.floor(jpeg.byteLength * 0.6));
}
