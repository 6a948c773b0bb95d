import { asNightError, NightError } from "../../core/errors.ts";
import type { CameraControls } from "../../core/profiles/cameraControls.ts";
import type { CameraProfiles } from "../../core/profiles/resolve.ts";
import type { CameraDescription } from "../cameras/camera.ts";
import type { Transport, TransportEvent } from "../cameras/transport.ts";
import { monotonicMs, type MonotonicMs } from "../../core/units.ts";
import { createClock, type ClockOrigin, type RealTime } from "../timing/clock.ts";
import { CameraLink, type LeftExposure } from "./cameraLink.ts";
import type { ClockSetting } from "./cameraTime.ts";
import { describeCamera } from "./describeCamera.ts";
import type { ShutterFlag } from "./shutterFlag.ts";
import type { OpenExposure, ShutterNote } from "./shutterNote.ts";
import { ShutterMover } from "./shutterMover.ts";

/** A camera that is connected, and what moves its shutter. */
export type Connected = { readonly link: CameraLink; readonly mover: ShutterMover };

type LinkWatchOptions = {
  readonly cameraId: string;
  readonly origin: ClockOrigin;
  readonly time: RealTime;
  /** How the camera is worked; when there are profiles, until it has said what it is. */
  readonly controls: CameraControls;
  readonly profiles?: CameraProfiles | undefined;
  /** Left out: the camera's clock is left alone. */
  readonly setClock?: ClockSetting | undefined;
  readonly flag: ShutterFlag;
  readonly note: ShutterNote;
  readonly createTransport: () => Transport;
  readonly onEvent: (event: TransportEvent) => void;
  /** The link was lost; `loss` says why. */
  readonly onLost: () => void;
  /** Connected: these files are on the card already. */
  readonly onReached: (handles: readonly number[]) => void;
  /** A connection that the night asked for did not come about. */
  readonly onUnreached: (error: NightError) => void;
};

type LeftOpen = {
  readonly exposure: OpenExposure;
  /** The camera confirms its end, or takes settings as with a closed shutter. */
  readonly seemsClosed: boolean;
  /** It has kept the camera busy when a frame was due, whatever it seems. */
  readonly keepsItBusy: boolean;
};

/** Pauses between attempts to reach a camera whose shutter may be open; the last one repeats. */
const RESCUE_PAUSES_MS = [0, 250, 500, 1_000, 2_000, 5_000];
/** Attempts that a program that is ending still makes. */
const LAST_RESCUES = 3;
/** How long a camera may be busy with itself when it has just been connected. */
const FIRST_LIST_BUSY_MS = 5_000;

/**
 * Keeps the link to the camera: connects when the night asks for it, or when a shutter may be open
 * that nobody else can close, and clears a lost link away.
 */
export class LinkWatch {
  readonly #options: LinkWatchOptions;
  #connected: Connected | null = null;
  #isWanted = false;
  #loss: NightError | null = null;
  #rescue = { attempts: 0, atMs: 0 };
  /** An exposure from before this connection that nobody has seen the end of; null: none. */
  #left: LeftOpen | null = null;

  constructor(options: LinkWatchOptions) {
    this.#options = options;
  }

  get connected(): Connected | null {
    return this.#connected;
  }

  /** @throws NightError `camera.gone` while no camera is connected. */
  requireConnected(): Connected {
    if (this.#connected === null) throw goneError();
    return this.#connected;
  }

  /** How the connected camera is worked. */
  get controls(): CameraControls {
    return this.#connected?.link.controls ?? this.#options.controls;
  }

  /** Why the link is lost; null: it is not, as far as is known. */
  get loss(): NightError | null {
    return this.#loss;
  }

  /** The night asks for a connection, and for a description of the camera at its end. */
  want(): void {
    this.#isWanted = true;
  }

  get isWanted(): boolean {
    return this.#isWanted;
  }

  noteLoss(error: NightError): void {
    this.#loss = error;
    this.#options.onLost();
  }

  /** Whether a program that is ending has nothing left to do here: no shutter, or out of reach. */
  get isGivenUp(): boolean {
    return !this.#options.flag.isSet || this.#rescue.attempts >= LAST_RESCUES;
  }

  /**
   * Without a link: connects, if somebody needs it now.
   * @returns how long nothing is to be done otherwise, real milliseconds.
   */
  async tryToConnect(isEnding: boolean): Promise<number> {
    const { flag, time } = this.#options;
    const isRescueDue = flag.isSet && time.nowMs() >= this.#rescue.atMs;
    if ((this.#isWanted && !isEnding) || isRescueDue) {
      await this.#connect();
      return 0;
    }
    return flag.isSet ? this.#rescue.atMs - time.nowMs() : Infinity;
  }

  /** Meets the wish to connect: what a photographer should see of the connected camera. */
  async describe(link: CameraLink): Promise<CameraDescription> {
    this.#isWanted = false;
    const { cameraId, origin, time, setClock } = this.#options;
    if (this.#left && !this.#left.seemsClosed) {
      this.#left = { ...this.#left, seemsClosed: await link.closeUnnamed() };
    }
    const reported = await describeCamera(link, {
      ...{ cameraId, setClock },
      clock: createClock(origin, time),
    });
    return { ...reported, looseSinceMs: this.looseSinceMs ?? undefined };
  }

  /** Since when the shutter may be open without anybody in control of it; null: it is not. */
  get looseSinceMs(): MonotonicMs | null {
    const left = this.#left;
    if (left === null || (left.seemsClosed && !left.keepsItBusy)) return null;
    return monotonicMs(left.exposure.openedUtcMs - this.#options.origin.startUtcMs);
  }

  /** The camera has opened its shutter for a new frame: what was left open is over. */
  noteOpened(): void {
    this.#left = null;
  }

  /** The camera was too busy for a frame all the time: what was left open may be why. */
  noteStayedBusy(): void {
    if (this.#left) this.#left = { ...this.#left, keepsItBusy: true };
  }

  /** Clears a lost link away, so that the next turn may connect again. */
  async drop(): Promise<void> {
    const link = this.#connected?.link;
    this.#connected = null;
    this.#rescue = { attempts: 0, atMs: 0 };
    await link?.close();
    this.#loss = null;
  }

  /** Ends session and transport in order. */
  async close(): Promise<void> {
    await this.#connected?.link.close();
    this.#connected = null;
  }

  async #connect(): Promise<void> {
    const { flag, note, onReached } = this.#options;
    const link = new CameraLink({
      ...this.#options,
      transport: this.#options.createTransport(),
      onLost: (error) => this.noteLoss(error),
      onNumber: (id) => {
        if (flag.isSet && this.#connected?.link === link) note.noteTransaction(id);
      },
    });
    // It stays known until its end is seen: this attempt may not be the last.
    const exposure = this.#leftOpen();
    if (exposure) this.#left = { keepsItBusy: false, ...this.#left, exposure, seemsClosed: false };
    try {
      this.#noteFound(await link.open(exposure));
      onReached(await firstList(link));
    } catch (thrown) {
      await this.#noteUnreached(link, asNightError(thrown, "camera.unreachable"));
      return;
    }
    flag.clear();
    this.#rescue = { attempts: 0, atMs: 0 };
    const { controls } = link;
    this.#connected = { link, mover: new ShutterMover({ link, controls, flag, note }) };
  }

  #noteFound(found: LeftExposure): void {
    if (this.#left) this.#left = { ...this.#left, seemsClosed: found === "closed" };
    // The note of a body that is not here is kept for it, until a frame of this one takes its place.
    if (found === "another body's") this.#left = null;
    else if (this.looseSinceMs === null) this.#options.note.clear();
  }

  /** What the note says, or else the flag of a thread that died; null: nothing was left open. */
  #leftOpen(): OpenExposure | null {
    const { flag, note, origin, time } = this.#options;
    if (!flag.isSet) return this.#left?.exposure ?? note.open;
    if (note.open) return note.open;
    const openedUtcMs = createClock(origin, time).utcMs();
    const id = flag.openingTransactionId;
    const serialNumber = "";
    return { serialNumber, openingTransactionId: id, lastTransactionId: id, openedUtcMs };
  }

  async #noteUnreached(link: CameraLink, error: NightError): Promise<void> {
    await link.close();
    this.#loss = null;
    const pause = Math.min(this.#rescue.attempts + 1, RESCUE_PAUSES_MS.length - 1);
    this.#rescue = {
      attempts: this.#rescue.attempts + 1,
      atMs: this.#options.time.nowMs() + (RESCUE_PAUSES_MS[pause] ?? 0),
    };
    if (this.#isWanted) this.#options.onUnreached(error);
    this.#isWanted = false;
  }
}

/** What is on the card already; a camera that cannot say costs the comparison, not the night. */
async function firstList(link: CameraLink): Promise<readonly number[]> {
  try {
    return await link.session.getObjectHandles({ busyMsMax: FIRST_LIST_BUSY_MS });
  } catch (thrown) {
    if (asNightError(thrown).code !== "ptp.response") throw thrown;
    return [];
  }
}

export function goneError(): NightError {
  return new NightError("camera.gone", "The camera is not connected.");
}
