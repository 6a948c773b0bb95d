import { NightError } from "../../core/errors.ts";
import { EVENTS } from "../../core/ptp/events.ts";
import { OPERATIONS } from "../../core/ptp/operations.ts";
import { transactionId, type TransactionId } from "../../core/ptp/ids.ts";
import type { CameraControls } from "../cameras/cameraControls.ts";
import type { TransportEvent } from "../cameras/transport.ts";
import { createClock, pauseFor, realMs, type ClockOrigin } from "../timing/clock.ts";
import { BusyWait, promptPauses, whileBusy } from "../timing/whileBusy.ts";
import { readImageExif } from "../imageExif.ts";
import type { CameraLink } from "../shutter/cameraLink.ts";
import { preciseWait } from "../timing/preciseWait.ts";
import { ShutterFlag } from "../shutter/shutterFlag.ts";
import { ShutterMover } from "../shutter/shutterMover.ts";
import { ShutterNote } from "../shutter/shutterNote.ts";
import type { ExposureFigures } from "./benchFigures.ts";

/** How long a file may take to be named, real milliseconds. */
const FILE_MS_MAX = 15_000;
const LOOK_MS = 20;
/** Exif stands at the beginning of a file. */
const EXIF_BYTES = 256 * 1024;
/** How long a camera may read a frame out beyond what its profile says. Judgement. */
const READ_OUT_MS_MAX = 60_000;
/** How long a camera may be busy before it answers. */
const BUSY = { busyMsMax: 5_000 };

type ExposureSeriesOptions = {
  readonly controls: CameraControls;
  readonly origin: ClockOrigin;
  readonly fileMsMax?: number;
  readonly signal?: AbortSignal;
};

/** An exposure before its file is known. */
type Taken = Omit<ExposureFigures, "exifSeconds" | "namedMs"> & {
  readonly openingId: TransactionId;
  readonly closedMs: number;
};

type Named = { readonly handle: number; readonly transactionId: number; readonly atMs: number };

/** The user has had enough. */
export function interrupted(): NightError {
  return new NightError(
    "camera.refused",
    "The bench check was ended early; the shutter is closed.",
  );
}

/** Bulb exposures back to back, with the camera's own word on how long each was. */
export class ExposureSeries {
  readonly #options: ExposureSeriesOptions;
  readonly #flag = new ShutterFlag(ShutterFlag.createBuffer());
  readonly #wait = preciseWait();
  readonly #known = new Set<number>();
  #named: Named[] = [];
  #link: CameraLink | null = null;
  #mover: ShutterMover | null = null;
  #lastHandle: number | null = null;

  constructor(options: ExposureSeriesOptions) {
    this.#options = options;
  }

  /** The newest file that an exposure made. */
  get lastHandle(): number | null {
    return this.#lastHandle;
  }

  hear({ eventCode, transactionId: id, parameters, atMs }: TransportEvent): void {
    const [handle] = parameters;
    if (eventCode !== EVENTS.ObjectAdded || handle === undefined) return;
    this.#named.push({ handle, transactionId: id, atMs });
  }

  /** Learns what is on the card already. */
  async begin(link: CameraLink): Promise<void> {
    this.#link = link;
    const { controls } = this.#options;
    const note = new ShutterNote(null, createClock(this.#options.origin).utcMs);
    this.#mover = new ShutterMover({ link, controls, flag: this.#flag, note });
    for (const handle of await link.session.getObjectHandles(BUSY)) {
      this.#known.add(handle);
    }
  }

  /**
   * @param excessMs  Latency to be taken off, as the night's timing does; null: none.
   */
  async run(
    seconds: readonly number[],
    excessMs: number | null,
  ): Promise<readonly ExposureFigures[]> {
    const taken: Taken[] = [];
    this.#named = [];
    for (const askedSeconds of seconds) {
      const next = await this.#expose(askedSeconds, excessMs ?? 0);
      const before = taken.at(-1);
      if (before) taken[taken.length - 1] = { ...before, deadMs: next.openedMs - before.closedMs };
      taken.push(next.taken);
    }
    const figures: ExposureFigures[] = [];
    for (const one of taken) figures.push(await this.#withFile(one));
    return figures;
  }

  /** Whatever happened, the shutter is not left open. */
  async end(): Promise<void> {
    if (!this.#flag.isSet || !this.#mover) return;
    try {
      await this.#mover.close(transactionId(this.#flag.openingTransactionId));
    } catch (thrown) {
      // On a lost link the camera's end of the session closes it.
      if (!(thrown instanceof NightError)) throw thrown;
    }
  }

  async #expose(
    askedSeconds: number,
    excessMs: number,
  ): Promise<{ readonly taken: Taken; readonly openedMs: number }> {
    const { rate } = this.#options.origin;
    const mover = this.#mover!;
    const { openingId, opened } = await this.#open(mover);
    const closeAtMs = opened.answeredMs + (askedSeconds * 1000) / rate - excessMs;
    await this.#until(closeAtMs - this.#wait.handOverMs);
    if (!this.#options.signal?.aborted) this.#wait.blockUntil(closeAtMs);
    const closed = await mover.close(openingId);
    if (this.#options.signal?.aborted) throw interrupted();
    const taken: Taken = {
      askedSeconds,
      heldSeconds: ((closed.sentMs - opened.answeredMs) * rate) / 1000,
      openLatencyMs: opened.answeredMs - opened.sentMs,
      closeLatencyMs: closed.answeredMs - closed.sentMs,
      deadMs: null,
      openingId,
      closedMs: closed.answeredMs,
    };
    return { taken, openedMs: opened.sentMs };
  }

  /** Asks until the camera has read the last frame out. */
  async #open(mover: ShutterMover) {
    const { busyMsMax, busyPollMs } = this.#options.controls;
    const { session } = this.#link!;
    const { time } = session;
    const attempt = async () => {
      const openingId = session.upcomingTransactionId;
      return { openingId, opened: await mover.open() };
    };
    return await whileBusy(attempt, {
      wait: new BusyWait(promptPauses(busyPollMs), busyMsMax + READ_OUT_MS_MAX, time.nowMs),
      pause: (pauseMs) => pauseFor(time, pauseMs),
    });
  }

  /** Sleeps coarsely; an interruption ends it. */
  async #until(atMs: number): Promise<void> {
    while (realMs() < atMs && !this.#options.signal?.aborted) {
      await new Promise((resolve) => setTimeout(resolve, Math.min(100, atMs - realMs())));
    }
  }

  async #withFile({ openingId, closedMs, ...figures }: Taken): Promise<ExposureFigures> {
    const named = await this.#fileOf(openingId);
    if (named === null) return { ...figures, exifSeconds: null, namedMs: null };
    this.#lastHandle = named.handle;
    const session = this.#link!.session;
    const head = this.#link!.can(OPERATIONS.GetPartialObject.code)
      ? await session.getPartialObject(named.handle, { offset: 0, bytes: EXIF_BYTES }, BUSY)
      : await session.getObject(named.handle, BUSY);
    const { exposureSeconds } = await readImageExif(head);
    const namedMs = named.atMs === 0 ? null : named.atMs - closedMs;
    return { ...figures, exifSeconds: exposureSeconds, namedMs };
  }

  /** By its event; where events do not name the capture, in their order; else by the card's list. */
  async #fileOf(openingId: TransactionId): Promise<Named | null> {
    const untilMs = realMs() + (this.#options.fileMsMax ?? FILE_MS_MAX);
    while (realMs() < untilMs) {
      const unclaimed = this.#named.filter(({ handle }) => !this.#known.has(handle));
      const named = unclaimed.find((one) => one.transactionId === openingId) ?? unclaimed[0];
      if (named) {
        this.#known.add(named.handle);
        return named;
      }
      await new Promise((resolve) => setTimeout(resolve, LOOK_MS));
    }
    const handles = await this.#link!.session.getObjectHandles(BUSY);
    const handle = handles.find((one) => !this.#known.has(one));
    if (handle === undefined) return null;
    this.#known.add(handle);
    return { handle, transactionId: 0, atMs: 0 };
  }
}
