import { asNightError, NightError } from "../../core/errors.ts";
import type { Scheduling } from "../../core/words/timingWords.ts";
import { NO_TRANSACTION, type TransactionId } from "../../core/ptp/ids.ts";
import type { CameraControls } from "../../core/profiles/cameraControls.ts";
import type { CameraProfiles } from "../../core/profiles/resolve.ts";
import type { ShutterClosing } from "../../core/watch/events.ts";
import { ownedBytes, type OwnedBytes } from "../workers/ownedBytes.ts";
import type { CameraEvent, ExposureOrder } from "../cameras/camera.ts";
import type { OperationAnswer, Transport } from "../cameras/transport.ts";
import {
  createClock,
  nightOf,
  REAL_TIME,
  realOf,
  type ClockOrigin,
  type RealTime,
} from "../timing/clock.ts";
import type { MomentWait } from "../timing/preciseWait.ts";
import { BusyWait, promptPauses, whileBusy } from "../timing/whileBusy.ts";
import { CameraEvents } from "./cameraEvents.ts";
import type { CameraLink } from "./cameraLink.ts";
import type { ClockSetting } from "./cameraTime.ts";
import type { CameraTask } from "./cameraTask.ts";
import { CameraTaskQueue } from "./cameraTaskQueue.ts";
import { cardTask, fileTask, pieceTask, settingsTask, statusTask } from "./cameraTasks.ts";
import { FrameFileMatcher, RANK } from "./frameFileMatcher.ts";
import { AnswerDelay, ReadoutTime } from "./linkSpeed.ts";
import { LinkWatch, type Connected } from "./linkWatch.ts";
import type { FromShutter, ToShutter } from "./messages.ts";
import { isRefusal, type Way } from "./exposureWays.ts";
import type { ShutterFlag } from "./shutterFlag.ts";
import type { ShutterMover } from "./shutterMover.ts";
import { ShutterNote } from "./shutterNote.ts";
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

/** Where the shutter stands. Times are real milliseconds. */
type Shutter =
  | { readonly kind: "closed" }
  /** Settings are in place; the shutter opens when it is time. */
  | { readonly kind: "prepared"; readonly order: ExposureOrder; readonly openAtMs: number }
  /** The camera was asked to open; `isOver`: it is to be closed again at once. */
  | { readonly kind: "opening"; readonly order: ExposureOrder; readonly isOver: boolean }
  | Open
  | Timed;

type Open = {
  readonly kind: "open";
  readonly order: ExposureOrder;
  readonly openingId: TransactionId;
  readonly openedMs: number;
  readonly closeAtMs: number;
};

/** The camera's own timer runs. */
type Timed = {
  readonly kind: "timed";
  readonly order: ExposureOrder;
  readonly exposureSeconds: number;
  readonly closesAtMs: number;
};

type Closed = {
  readonly closedMs: number;
  readonly exposureSeconds: number;
  /** Left out: the camera timed it. */
  readonly closing?: ShutterClosing;
};

/** Something that has its time, whether or not it is due. */
type Move = { readonly atMs: number; readonly isPrecise: boolean; act(): Promise<void> };

const ORDERS_MAX = 4;
/**
 * Longest task step, real milliseconds, while the next order may come at any moment; while the
 * shutter is open and could be closed early; and otherwise. No source: small beside a frame.
 */
const STEP_MS = { orderExpected: 4, open: 20, otherwise: 100 };
/** How long after a frame the next order is expected. */
const ORDER_EXPECTED_MS = 3_000;
/**
 * Owns the camera's session and moves the shutter.
 *
 * One turn after another: if the shutter must move, it is moved; else one step of a task is
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
  readonly #readout = new ReadoutTime();
  readonly #openings = new AnswerDelay();
  readonly #matcher: FrameFileMatcher;
  readonly #link: LinkWatch;
  readonly #events: CameraEvents;
  #shutter: Shutter = { kind: "closed" };
  #orders: readonly ExposureOrder[] = [];
  #isEnding = false;
  #isEnded = false;
  /** A frame is being read out by the camera; `ready` is owed at this moment at the latest. */
  #readyAtMs: number | null = null;
  #orderExpectedUntilMs = 0;
  /** Length of the exposure before, real milliseconds. */
  #lastExposureMs = 0;

  constructor(options: TimingLoopOptions) {
    const time = options.time ?? REAL_TIME;
    this.#options = options;
    this.#time = time;
    this.#wake = new Wake(time);
    this.#tasks = new CameraTaskQueue(time);
    const exposingIndex = (): number | null => this.#exposingIndex;
    this.#matcher = new FrameFileMatcher({
      ...{ time, exposingIndex, tasks: this.#tasks, origin: options.origin },
      controls: () => this.#link.controls,
      tell: (event) => this.#tell(event),
      onPlaced: () => this.#noteReadOut(),
    });
    const { utcMs: utcNow } = createClock(options.origin, time);
    const note = new ShutterNote(options.notePath ?? null, utcNow);
    this.#link = new LinkWatch({
      ...{ ...options, time, note },
      onEvent: (event) => this.#events.hear(event),
      onLost: () => this.#wake.ring(),
      onReached: (handles) => this.#matcher.learn(handles),
      onUnreached: (error) => this.#fail(error, null, "gone"),
    });
    this.#events = new CameraEvents({
      ...{ time, exposingIndex, tasks: this.#tasks, matcher: this.#matcher, link: this.#link },
      onReadOut: () => this.#noteReadOut(),
      onCardFailed: (error, frameIndex) => this.#fail(error, frameIndex, "there"),
      onHeard: () => this.#wake.ring(),
    });
  }

  /** Takes a wish of the main thread; it is met in one of the next turns. */
  take(message: ToShutter): void {
    switch (message.kind) {
      case "connect":
        this.#link.want();
        break;
      case "expose":
        this.#takeOrder(message.order);
        break;
      case "closeShutter":
        if (this.#exposingIndex === message.frameIndex) this.#closeNow();
        break;
      case "readStatus":
        this.#addTask(RANK.status, (link) => statusTask(link, this.#tellers()));
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
    this.#orders = [];
    if (this.#shutter.kind === "prepared") this.#shutter = { kind: "closed" };
    if (options.closeNow) this.#closeNow();
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
    const isAtRest = this.#shutter.kind === "closed";
    if (this.#link.isWanted && isAtRest) return await this.#announce(connected.link);
    if (this.#isEnding && isAtRest && !this.#options.flag.isSet) {
      this.#isEnded = true;
      return;
    }
    const move = this.#nextMove();
    const { handOverMs } = this.#options.wait;
    const leftMs = move === null ? Infinity : move.atMs - this.#time.nowMs() - handOverMs;
    if (move !== null && leftMs <= 0) return await this.#make(move);
    if (this.#matcher.compareAtMs <= this.#time.nowMs()) this.#matcher.compare(connected.link);
    if (this.#events.pollAtMs <= this.#time.nowMs()) this.#events.poll();
    if (await this.#tasks.step({ leftMs, stepMs: this.#stepMs() })) return;
    const nextMs = Math.min(this.#tasks.nextMs, this.#matcher.compareAtMs, this.#events.pollAtMs);
    await this.#wake.pause(Math.min(leftMs, nextMs - this.#time.nowMs()));
  }

  async #make(move: Move): Promise<void> {
    if (move.isPrecise) this.#options.wait.blockUntil(move.atMs);
    if (this.#time.nowMs() >= move.atMs) await move.act();
    else await this.#wake.pause(move.atMs - this.#time.nowMs());
  }

  #nextMove(): Move | null {
    const shutter = this.#shutter;
    switch (shutter.kind) {
      case "open":
        return { atMs: shutter.closeAtMs, isPrecise: true, act: () => this.#close(shutter) };
      case "prepared":
        return { atMs: shutter.openAtMs, isPrecise: true, act: () => this.#open(shutter.order) };
      case "timed":
        return {
          atMs: shutter.closesAtMs,
          isPrecise: false,
          act: async () => this.#noteTimedEnd(shutter),
        };
      case "opening":
        return null;
      case "closed": {
        const [order] = this.#orders;
        if (order) return { atMs: 0, isPrecise: false, act: () => this.#prepare(order) };
        const atMs = this.#readyAtMs;
        return atMs === null
          ? null
          : { atMs, isPrecise: false, act: async () => this.#becomeReady() };
      }
    }
  }

  // Exposing.

  #takeOrder(order: ExposureOrder): void {
    if (this.#isEnding) return;
    if (this.#link.connected === null) return this.#fail(goneError(), order.frameIndex, "gone");
    if (this.#orders.length >= ORDERS_MAX) {
      const error = new NightError("camera.busy", "More frames were ordered than can wait.");
      return this.#fail(error, order.frameIndex, "there");
    }
    this.#orders = [...this.#orders, order];
  }

  async #prepare(order: ExposureOrder): Promise<void> {
    this.#orders = this.#orders.slice(1);
    await this.#forOrder(order, async ({ mover }) => {
      await this.#untilNotBusy(async () => await mover.prepare(order.exposure));
      for (const sentence of mover.takeRemarks()) this.#tell({ kind: "remarked", sentence });
      if (this.#isEnding) return;
      const openAtMs = realOf(order.openAtMs, this.#options.origin);
      this.#shutter = { kind: "prepared", order, openAtMs };
    });
  }

  async #open(order: ExposureOrder): Promise<void> {
    this.#shutter = { kind: "opening", order, isOver: false };
    this.#readyAtMs = null;
    await this.#forOrder(order, async ({ mover }) => {
      const refused: Way[] = [];
      for (;;) {
        const way = mover.methodFor(order.exposure.exposureSeconds, refused).kind;
        try {
          if (way === "bulb") return await this.#openBulb(mover, order);
          await this.#startTimed(mover, order);
          mover.noteSuccess(way);
          return;
        } catch (thrown) {
          await this.#takeOtherWay(mover, order, { refused, way, error: asNightError(thrown) });
        }
      }
    });
  }

  /**
   * A way that was refused by a clear answer left the shutter closed: the next one may serve at once.
   * @throws the refusal where there is no other way, and everything that is none.
   */
  async #takeOtherWay(
    mover: ShutterMover,
    order: ExposureOrder,
    { refused, way, error }: { refused: Way[]; way: Way; error: NightError },
  ): Promise<void> {
    if (!isRefusal(error)) throw error;
    const sentence = mover.noteRefusal(way);
    if (sentence !== null) this.#tell({ kind: "remarked", sentence });
    refused.push(way);
    const hasOther = mover.has(refused);
    const isOver = this.#shutter.kind === "opening" && this.#shutter.isOver;
    if (!hasOther || isOver) throw error;
    await this.#untilNotBusy(async () => await mover.prepare(order.exposure, refused));
  }

  async #openBulb(mover: ShutterMover, order: ExposureOrder): Promise<void> {
    const { openingId, result } = await this.#begin(order, "bulb", async () => {
      const answer = await mover.open();
      return { result: answer, captureId: mover.openingId };
    });
    const openedMs = result.answeredMs - this.#openings.noteAnswer(result);
    const exposureMs = (order.exposure.exposureSeconds * 1000) / this.#options.origin.rate;
    const isOver = this.#shutter.kind === "opening" && this.#shutter.isOver;
    const closeAtMs = isOver ? this.#time.nowMs() : openedMs + exposureMs - mover.bulbExcessMs;
    this.#shutter = { kind: "open", order, openingId, openedMs, closeAtMs };
    this.#tellOpened(order, result);
  }

  async #startTimed(mover: ShutterMover, order: ExposureOrder): Promise<void> {
    const { result } = await this.#begin(order, "timed", async () => {
      const started = await mover.startTimed(order.exposure);
      return { result: started, captureId: started.captureId };
    });
    const { answer, exposureSeconds } = result;
    const closesAtMs = answer.answeredMs + (exposureSeconds * 1000) / this.#options.origin.rate;
    this.#shutter = { kind: "timed", order, exposureSeconds, closesAtMs };
    this.#tellOpened(order, answer);
  }

  /** Starts a capture, again while the camera is busy, and expects its file from then on. */
  async #begin<T>(
    order: ExposureOrder,
    kind: "bulb" | "timed",
    start: () => Promise<{ readonly result: T; readonly captureId: TransactionId | null }>,
  ): Promise<{ readonly openingId: TransactionId; readonly result: T }> {
    const { session } = this.#requireConnected().link;
    const { frameIndex } = order;
    return await this.#untilNotBusy(async () => {
      const firstId = session.upcomingTransactionId;
      const startMs = this.#time.nowMs();
      this.#matcher.await(frameIndex, firstId, kind);
      try {
        const { result, captureId } = await start();
        const openingId = captureId ?? firstId;
        this.#matcher.nameCapture(frameIndex, openingId);
        this.#link.noteOpened();
        this.#readout.noteOpened(startMs);
        return { openingId, result };
      } catch (thrown) {
        this.#matcher.giveUp(frameIndex);
        if (asNightError(thrown).code === "camera.busy") this.#readout.noteBusy();
        throw thrown;
      }
    });
  }

  async #close(open: Open): Promise<void> {
    const { link, mover } = this.#requireConnected();
    // Before the camera is asked: what it takes to answer is no lateness of this computer.
    const lateMs = this.#time.nowMs() - open.closeAtMs;
    this.#matcher.noteClosing(open.order.frameIndex);
    const answer = await mover.close(open.openingId);
    if (answer.hadEndedItself) this.#noteEndedItself(link, mover);
    else mover.noteSuccess("bulb");
    const openMs = answer.sentMs - open.openedMs + mover.bulbExcessMs;
    this.#noteClosed(open.order, {
      closedMs: answer.answeredMs,
      exposureSeconds: (openMs * this.#options.origin.rate) / 1000,
      closing: { lateMs, scheduling: this.#options.scheduling ?? "ordinary" },
    });
  }

  /** The camera closed before it was informed to, and may have named the file then. */
  #noteEndedItself(link: CameraLink, mover: ShutterMover): void {
    const sentence = mover.noteEndedItself();
    if (sentence !== null) this.#tell({ kind: "remarked", sentence });
    this.#matcher.offerUnclaimed(link);
  }

  #noteTimedEnd({ order, exposureSeconds, closesAtMs }: Timed): void {
    this.#noteClosed(order, { closedMs: closesAtMs, exposureSeconds });
  }

  /**
   * The shutter has closed and the camera reads the frame out. It is ready when experience says so;
   * without experience, when it names the file, or when that is late.
   */
  #noteClosed(
    { frameIndex, exposure }: ExposureOrder,
    { closedMs, exposureSeconds, closing }: Closed,
  ): void {
    this.#shutter = { kind: "closed" };
    this.#lastExposureMs = (exposureSeconds * 1000) / this.#options.origin.rate;
    this.#tell({
      kind: "shutterClosed",
      frameIndex,
      atMs: nightOf(closedMs, this.#options.origin),
      happened: this.#requireConnected().mover.happened(exposureSeconds, exposure),
      ...(closing && { closing }),
    });
    this.#readout.noteClosed(closedMs);
    const lateMs = this.#matcher.expect(frameIndex, closedMs);
    const { readyAfterMs } = this.#readout;
    this.#readyAtMs = readyAfterMs === null ? lateMs : closedMs + readyAfterMs;
    // The file may have been named before the shutter was known to be closed.
    if (!this.#matcher.isAwaited(frameIndex)) this.#noteReadOut();
  }

  /** The camera said that it is done with a frame. */
  #noteReadOut(): void {
    const isGuess = this.#readout.readyAfterMs === null;
    if (isGuess && this.#readyAtMs !== null && this.#shutter.kind === "closed") this.#becomeReady();
  }

  #becomeReady(): void {
    this.#readyAtMs = null;
    this.#orderExpectedUntilMs = this.#time.nowMs() + ORDER_EXPECTED_MS;
    this.#tell({ kind: "ready", atMs: nightOf(this.#time.nowMs(), this.#options.origin) });
  }

  /** Closes an open or opening shutter in the next turn. */
  #closeNow(): void {
    const shutter = this.#shutter;
    if (shutter.kind === "open") this.#shutter = { ...shutter, closeAtMs: this.#time.nowMs() };
    if (shutter.kind === "opening") this.#shutter = { ...shutter, isOver: true };
  }

  /** The frame that the shutter is open for, or about to be. */
  get #exposingIndex(): number | null {
    return this.#shutter.kind === "closed" ? null : this.#shutter.order.frameIndex;
  }

  /**
   * Repeats while the camera is busy; an event of the camera makes the next attempt come sooner. A
   * wish to connect again gives the order up.
   */
  async #untilNotBusy<T>(attempt: () => Promise<T>): Promise<T> {
    const { busyPollMs, busyMsMax } = this.#link.controls;
    const busyMs = busyMsMax + this.#lastExposureMs;
    return await whileBusy(attempt, {
      wait: new BusyWait(promptPauses(busyPollMs), busyMs, this.#time.nowMs),
      pause: (pauseMs) => this.#wake.pause(pauseMs),
      isBusy: ({ code }) => code === "camera.busy" && !this.#isEnding && !this.#link.isWanted,
    });
  }

  /** Does a part of an order; what goes wrong with the order alone is reported and costs that frame. */
  async #forOrder(
    order: ExposureOrder,
    part: (connected: Connected) => Promise<void>,
  ): Promise<void> {
    try {
      await part(this.#requireConnected());
    } catch (thrown) {
      const error = asNightError(thrown);
      const isLost = error.code === "camera.gone";
      // A lost link is reported once, for this frame.
      this.#shutter = isLost ? { kind: "prepared", order, openAtMs: 0 } : { kind: "closed" };
      if (isLost) throw error;
      if (error.code === "camera.busy") this.#link.noteStayedBusy();
      this.#fail(error, order.frameIndex, "there");
    }
  }

  // Tasks.

  #stepMs(): number {
    if (this.#shutter.kind === "open" || this.#shutter.kind === "prepared") return STEP_MS.open;
    return this.#time.nowMs() < this.#orderExpectedUntilMs
      ? STEP_MS.orderExpected
      : STEP_MS.otherwise;
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
    this.#tell({ kind: "connected", description: await this.#link.describe(link) });
  }

  async #handleFailure(error: NightError): Promise<void> {
    const isLost = error.code === "camera.gone" || this.#link.loss !== null;
    if (!isLost) return this.#fail(error, null, "there");
    const exposingIndex = this.#exposingIndex;
    this.#shutter = { kind: "closed" };
    this.#orders = [];
    this.#readyAtMs = null;
    await this.#link.drop();
    this.#tasks.dropAll(error);
    this.#matcher.forgetAll(exposingIndex);
    this.#fail(error, exposingIndex, "gone");
  }

  #requireConnected(): Connected {
    const { connected } = this.#link;
    if (connected === null) throw goneError();
    return connected;
  }

  // Telling.

  #tell(event: CameraEvent): void {
    if (event.kind !== "frameArrived") return this.#options.tell({ kind: "event", event });
    const jpeg = ownedBytes(event.jpeg);
    this.#options.tell({ kind: "event", event: { ...event, jpeg } }, [jpeg]);
  }

  #tellOpened({ frameIndex }: ExposureOrder, { answeredMs }: OperationAnswer): void {
    const atMs = nightOf(answeredMs, this.#options.origin);
    this.#tell({ kind: "shutterOpened", frameIndex, atMs });
  }

  #tellers(): Parameters<typeof statusTask>[1] {
    return {
      tell: (event) => this.#tell(event),
      nightNow: () => nightOf(this.#time.nowMs(), this.#options.origin),
    };
  }

  #fail(error: NightError, frameIndex: number | null, camera: "gone" | "there"): void {
    const { code, message: sentence } = error;
    const { looseSinceMs } = this.#link;
    const loose = looseSinceMs === null ? {} : { looseSinceMs };
    this.#tell({ kind: "failed", code, sentence, frameIndex, gone: camera === "gone", ...loose });
  }
}

function goneError(): NightError {
  return new NightError("camera.gone", "The camera is not connected.");
}
