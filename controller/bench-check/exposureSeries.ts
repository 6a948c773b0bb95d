import { NightError } from "../../core/errors.ts";
import { EVENTS } from "../../core/ptp/events.ts";
import { OPERATIONS } from "../../core/ptp/operations.ts";
import { transactionId, type TransactionId } from "../../core/ptp/ids.ts";
import type { CameraControls, NumberControl } from "../cameras/standardControls.ts";
import type { TransportEvent } from "../cameras/transport.ts";
import { createClock, pauseFor, realMs, type ClockOrigin } from "../timing/clock.ts";
import { BusyWait, promptPauses, whileBusy } from "../timing/whileBusy.ts";
import { readImageExif } from "../imageExif.ts";
import type { CameraLink } from "../shutter/cameraLink.ts";
import { preciseWait } from "../timing/preciseWait.ts";
import { ShutterFlag } from "../shutter/shutterFlag.ts";
import { ShutterMover } from "../shutter/shutterMover.ts";
import { ShutterNote } from "../shutter/shutterNote.ts";
import type { ExposureFigures, TimedFigures } from "./benchFigures.ts";

/** How long a file may take to be named, real milliseconds. */
const FILE_MS_MAX = 15_000;
/** The same once a file did not come at all; judgement. */
const NEXT_FILE_MS_MAX = 3_000;
const LOOK_MS = 20;
/** Exif stands at the beginning of a file. */
const EXIF_BYTES = 256 * 1024;
/** How long a camera may read a frame out beyond what its profile says. Judgement. */
const READ_OUT_MS_MAX = 60_000;
/** How long a camera may be busy before it answers. */
const BUSY = { busyMsMax: 5_000 };

/** Stands for a setting that the camera does not tell; it has no property then to be set. */
const UNKNOWN_SETTING = 1;

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
  /** A file never came: the next ones are not waited for as long. */
  #hasMissed = false;

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

  /** Exposures by the camera's own timer, at the settings that it stands at otherwise. */
  async runTimed(seconds: readonly number[]): Promise<readonly TimedFigures[]> {
    const figures: TimedFigures[] = [];
    for (const askedSeconds of seconds) {
      if (this.#options.signal?.aborted) throw interrupted();
      figures.push(await this.#exposeTimed(askedSeconds));
    }
    return figures;
  }

  async #exposeTimed(askedSeconds: number): Promise<TimedFigures> {
    const { controls, origin } = this.#options;
    const [mover, link] = [this.#mover!, this.#link!];
    const stands = (control: NumberControl | null): number =>
      link.properties.settingOf(control) ?? UNKNOWN_SETTING;
    const exposure = {
      exposureSeconds: askedSeconds,
      ...{ iso: stands(controls.iso), fNumber: stands(controls.fNumber) },
    };
    this.#named = [];
    const { exposureSeconds, captureId } = await this.#whileBusy(async () => {
      await mover.prepare(exposure, ["bulb"]);
      return await mover.startTimed(exposure);
    });
    await this.#until(realMs() + (exposureSeconds * 1000) / origin.rate);
    const setSeconds = link.properties.settingOf(controls.exposureTime);
    const named = await this.#fileOf(captureId ?? transactionId(0));
    if (named === null) return { askedSeconds, setSeconds, exifSeconds: null, hasFile: false };
    this.#lastHandle = named.handle;
    const exifSeconds = await this.#exifSecondsOf(named.handle);
    return { askedSeconds, setSeconds, exifSeconds, hasFile: true };
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
    return await this.#whileBusy(async () => {
      const opened = await mover.open();
      // What was tried first may not have begun the capture: a later transaction did.
      return { openingId: mover.openingId, opened };
    });
  }

  /** Again and again while the camera reads the last frame out. */
  async #whileBusy<T>(attempt: () => Promise<T>): Promise<T> {
    const { busyMsMax, busyPollMs } = this.#options.controls;
    const { time } = this.#link!.session;
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
    const exifSeconds = await this.#exifSecondsOf(named.handle);
    const namedMs = named.atMs === 0 ? null : named.atMs - closedMs;
    return { ...figures, exifSeconds, namedMs };
  }

  /** Null: the file does not say, or cannot be had. */
  async #exifSecondsOf(handle: number): Promise<number | null> {
    const link = this.#link!;
    const { session } = link;
    const head = link.can(OPERATIONS.GetPartialObject.code)
      ? await orNull(session.getPartialObject(handle, { offset: 0, bytes: EXIF_BYTES }, BUSY))
      : null;
    const file = head ?? (await orNull(session.getObject(handle, BUSY)));
    return file === null ? null : (await readImageExif(file)).exposureSeconds;
  }

  /** By its event; where events do not name the capture, in their order; else by the card's list. */
  async #fileOf(openingId: TransactionId): Promise<Named | null> {
    const fileMsMax = this.#options.fileMsMax ?? FILE_MS_MAX;
    const untilMs =
      realMs() + (this.#hasMissed ? Math.min(fileMsMax, NEXT_FILE_MS_MAX) : fileMsMax);
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
    this.#hasMissed = handle === undefined;
    if (handle === undefined) return null;
    this.#known.add(handle);
    return { handle, transactionId: 0, atMs: 0 };
  }
}

/** What the camera refuses is not there. */
async function orNull(fetched: Promise<Uint8Array>): Promise<Uint8Array | null> {
  try {
    return await fetched;
  } catch (thrown) {
    if (thrown instanceof NightError && thrown.code === "ptp.response") return null;
    throw thrown;
  }
}
