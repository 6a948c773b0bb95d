import { asNightError, type NightError } from "../../core/errors.ts";
import type { CameraControls } from "../../core/profiles/cameraControls.ts";
import type { CameraProfiles } from "../../core/profiles/resolve.ts";
import { NO_TRANSACTION } from "../../core/ptp/ids.ts";
import type { Scheduling } from "../../core/words/timingWords.ts";
import type { Transport } from "../cameras/transport.ts";
import { createClock, REAL_TIME, type ClockOrigin, type RealTime } from "../timing/clock.ts";
import type { MomentWait } from "../timing/preciseWait.ts";
import type { OwnedBytes } from "../workers/ownedBytes.ts";
import { CameraEvents } from "./cameraEvents.ts";
import type { CameraLink } from "./cameraLink.ts";
import type { ClockSetting } from "./cameraTime.ts";
import type { CameraTask } from "./cameraTask.ts";
import { CameraTaskQueue } from "./cameraTaskQueue.ts";
import { cardTask, fileTask, pieceTask, settingsTask, statusTask } from "./cameraTasks.ts";
import { FrameExposer, type Move } from "./frameExposer.ts";
import { FrameFileMatcher, RANK } from "./frameFileMatcher.ts";
import { goneError, LinkWatch } from "./linkWatch.ts";
import type { FromShutter, ToShutter } from "./shutterMessages.ts";
import type { ShutterFlag } from "./shutterFlag.ts";
import { ShutterNote } from "./shutterNote.ts";
import { ShutterReports } from "./shutterReports.ts";
import { Wake } from "./wake.ts";

type TimingLoopOptions = {
  readonly cameraId: string;
  readonly origin: ClockOrigin;
  /** How the camera is worked; when there are profiles, until it has said what it is. */
  readonly controls: CameraControls;
  readonly profiles?: CameraProfiles | undefined;
  /** Left out: the camera's clock is left alone. */
  readonly setClock?: ClockSetting | undefined;
  readonly flag: ShutterFlag;
  /** Where the next process finds an exposure that this one leaves open; left out: nowhere. */
  readonly notePath?: string | undefined;
  readonly wait: MomentWait;
  /** What the system granted this thread; left out: nothing was asked for. */
  readonly scheduling?: Scheduling;
  /** Left out: the time of life. */
  readonly time?: RealTime;
  readonly createTransport: () => Transport;
  readonly tell: (message: FromShutter, handedOver?: readonly OwnedBytes[]) => void;
};

/**
 * Takes turns between the shutter and everything else that is asked of the camera whose session it owns.
 *
 * In each turn: if the shutter must move, it is moved; else one step of a task is
 * taken, if it is sure to be over before the shutter must move; else the loop sleeps until then or
 * until something happens. So closing outranks everything, and nothing is in flight when it is due.
 *
 * The one that sets the flag is responsible for the shutter: the loop does not end, and does not stop
 * trying to reach a lost camera, while the flag is set.
 */
export class TimingLoop {
  readonly #options: TimingLoopOptions;
  readonly #time: RealTime;
  readonly #wake: Wake;
  readonly #tasks: CameraTaskQueue;
  readonly #matcher: FrameFileMatcher;
  readonly #link: LinkWatch;
  readonly #events: CameraEvents;
  readonly #reports: ShutterReports;
  readonly #exposer: FrameExposer;
  #isEnding = false;
  #isEnded = false;

  constructor(options: TimingLoopOptions) {
    const time = options.time ?? REAL_TIME;
    this.#options = options;
    this.#time = time;
    this.#wake = new Wake(time);
    this.#tasks = new CameraTaskQueue(time);
    this.#reports = new ShutterReports({
      ...{ time, origin: options.origin, send: options.tell },
      looseSinceMs: () => this.#link.looseSinceMs,
    });
    const exposingIndex = (): number | null => this.#exposer.exposingIndex;
    this.#matcher = new FrameFileMatcher({
      ...{ time, exposingIndex, tasks: this.#tasks, origin: options.origin },
      controls: () => this.#link.controls,
      tell: (event) => this.#reports.tell(event),
      onPlaced: () => this.#exposer.noteReadOut(),
    });
    const { utcMs: utcNow } = createClock(options.origin, time);
    const note = new ShutterNote(options.notePath ?? null, utcNow);
    this.#link = new LinkWatch({
      ...{ ...options, time, note },
      onEvent: (event) => this.#events.hear(event),
      onLost: () => this.#wake.ring(),
      onReached: (handles) => this.#matcher.learn(handles),
      onUnreached: (error) => this.#reports.fail(error, null, "gone"),
    });
    this.#events = new CameraEvents({
      ...{ time, exposingIndex, tasks: this.#tasks, matcher: this.#matcher, link: this.#link },
      onReadOut: () => this.#exposer.noteReadOut(),
      onCardFailed: (error, frameIndex) => this.#reports.fail(error, frameIndex, "there"),
      onHeard: () => this.#wake.ring(),
    });
    this.#exposer = new FrameExposer({
      ...{ time, origin: options.origin, scheduling: options.scheduling },
      ...{ link: this.#link, matcher: this.#matcher, reports: this.#reports, wake: this.#wake },
    });
  }

  /** Takes a wish of the main thread; it is met in one of the next turns. */
  take(message: ToShutter): void {
    switch (message.kind) {
      case "connect":
        this.#link.want();
        break;
      case "expose":
        this.#exposer.take(message.order);
        break;
      case "closeShutter":
        if (this.#exposer.exposingIndex === message.frameIndex) this.#exposer.closeNow();
        break;
      case "readStatus":
        this.#addTask(RANK.status, (link) => statusTask(link, this.#reports));
        break;
      case "prepare":
        this.#addRequest(message.requestId, RANK.settings, (link) =>
          settingsTask(link, message, this.#options.tell),
        );
        break;
      case "noteReleased":
        if (message.what === "opened")
          this.#matcher.await(message.frameIndex, NO_TRANSACTION, "bulb");
        else this.#matcher.expect(message.frameIndex, this.#time.nowMs());
        break;
      case "awaitAgain":
        if (this.#link.connected) {
          this.#matcher.awaitAgain(this.#link.connected.link, message.frameIndex);
        }
        break;
      case "listCard":
        this.#addRequest(message.requestId, RANK.card, (link) =>
          cardTask(link, message.requestId, this.#options.tell),
        );
        break;
      case "fetchFile":
        this.#addRequest(message.requestId, RANK.file, (link) =>
          fileTask(link, message, this.#options.tell),
        );
        break;
      case "fetchPiece":
        this.#addRequest(message.requestId, RANK.file, (link) =>
          pieceTask(link, message, this.#options.tell),
        );
        break;
      case "close":
        this.end({ closeNow: true });
        break;
    }
    this.#wake.ring();
  }

  /**
   * Asks the loop to end: the shutter is closed, now or when its exposure is over, then the session.
   * Nothing new is begun.
   */
  end(options: { readonly closeNow: boolean }): void {
    this.#isEnding = true;
    this.#exposer.end();
    if (options.closeNow) this.#exposer.closeNow();
    this.#wake.ring();
  }

  /** Runs until the end was asked for and the shutter is closed. Never rejects. */
  async run(): Promise<void> {
    while (!this.#isEnded) {
      try {
        await this.#turn();
      } catch (thrown) {
        await this.#handleFailure(asNightError(thrown));
      }
    }
    await this.#link.close();
    this.#tasks.dropAll(goneError());
    this.#options.tell({ kind: "ended" });
  }

  async #turn(): Promise<void> {
    if (this.#link.loss) throw this.#link.loss;
    const { connected } = this.#link;
    if (connected === null) return await this.#turnAway();
    const isAtRest = this.#exposer.exposingIndex === null;
    if (this.#link.isWanted && isAtRest) return await this.#announce(connected.link);
    if (this.#isEnding && isAtRest && !this.#options.flag.isSet) {
      this.#isEnded = true;
      return;
    }
    const move = this.#exposer.nextMove();
    const { handOverMs } = this.#options.wait;
    const leftMs = move === null ? Infinity : move.atMs - this.#time.nowMs() - handOverMs;
    if (move !== null && leftMs <= 0) return await this.#make(move);
    if (this.#matcher.compareAtMs <= this.#time.nowMs()) this.#matcher.compare(connected.link);
    if (this.#events.pollAtMs <= this.#time.nowMs()) this.#events.poll();
    if (await this.#tasks.step({ leftMs, stepMs: this.#exposer.stepMsMax })) return;
    const nextMs = Math.min(this.#tasks.nextMs, this.#matcher.compareAtMs, this.#events.pollAtMs);
    await this.#wake.pause(Math.min(leftMs, nextMs - this.#time.nowMs()));
  }

  async #make(move: Move): Promise<void> {
    if (move.isPrecise) this.#options.wait.blockUntil(move.atMs);
    if (this.#time.nowMs() >= move.atMs) await move.act();
    else await this.#wake.pause(move.atMs - this.#time.nowMs());
  }

  #addTask(
    rank: number,
    create: (link: CameraLink) => CameraTask,
    drop: (error: NightError) => void = () => undefined,
  ): void {
    const { connected } = this.#link;
    if (connected) this.#tasks.add({ rank, task: create(connected.link), drop });
    else drop(goneError());
  }

  #addRequest(requestId: number, rank: number, create: (link: CameraLink) => CameraTask): void {
    this.#addTask(rank, create, ({ code, message: sentence }) =>
      this.#options.tell({ kind: "refused", requestId, code, sentence }),
    );
  }

  // The link.

  /** Without a link there is nothing to do but to get one, for the night or for the shutter. */
  async #turnAway(): Promise<void> {
    if (this.#isEnding && this.#link.isGivenUp) {
      this.#isEnded = true;
      return;
    }
    const pauseMs = await this.#link.tryToConnect(this.#isEnding);
    if (this.#link.connected) this.#events.begin();
    if (pauseMs > 0) await this.#wake.pause(pauseMs);
  }

  async #announce(link: CameraLink): Promise<void> {
    this.#reports.tell({ kind: "connected", description: await this.#link.describe(link) });
  }

  async #handleFailure(error: NightError): Promise<void> {
    const isLost = error.code === "camera.gone" || this.#link.loss !== null;
    if (!isLost) return this.#reports.fail(error, null, "there");
    const exposingIndex = this.#exposer.forgetAll();
    await this.#link.drop();
    this.#tasks.dropAll(error);
    this.#matcher.forgetAll(exposingIndex);
    this.#reports.fail(error, exposingIndex, "gone");
  }
}
