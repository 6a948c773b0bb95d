import { asNightError, NightError } from "../../core/errors.ts";
import type { TransactionId } from "../../core/ptp/ids.ts";
import type { ShutterClosing } from "../../core/watch/events.ts";
import type { Scheduling } from "../../core/words/timingWords.ts";
import type { ExposureOrder } from "../cameras/camera.ts";
import { nightOf, realOf, type ClockOrigin, type RealTime } from "../timing/clock.ts";
import { BusyWait, promptPauses, whileBusy } from "../timing/whileBusy.ts";
import type { CameraLink } from "./cameraLink.ts";
import { isRefusal, type Way } from "./exposureWays.ts";
import type { FrameFileMatcher } from "./frameFileMatcher.ts";
import { AnswerDelay, ReadoutTime } from "./linkSpeed.ts";
import { goneError, type Connected, type LinkWatch } from "./linkWatch.ts";
import type { ShutterMover } from "./shutterMover.ts";
import type { ShutterReports } from "./shutterReports.ts";
import type { Wake } from "./wake.ts";

type FrameExposerOptions = {
  readonly origin: ClockOrigin;
  readonly time: RealTime;
  /** What the system granted this thread; left out: nothing was asked for. */
  readonly scheduling?: Scheduling | undefined;
  readonly link: LinkWatch;
  readonly matcher: FrameFileMatcher;
  readonly reports: ShutterReports;
  /** Rung when something was heard that may end a pause. */
  readonly wake: Wake;
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
export type Move = { readonly atMs: number; readonly isPrecise: boolean; act(): Promise<void> };

const ORDERS_MAX = 4;
/**
 * Longest step of other work, real milliseconds, while the next order may come at any moment; while the
 * shutter is open and could be closed early; and otherwise. No source: small beside a frame.
 */
const STEP_MS = { orderExpected: 4, open: 20, otherwise: 100 };
/** How long after a frame the next order is expected. */
const ORDER_EXPECTED_MS = 3_000;

/**
 * Takes one ordered frame after another through the shutter: prepares, opens and closes it when it is
 * due, and reports what came of it and when the camera is ready for the next.
 */
export class FrameExposer {
  readonly #options: FrameExposerOptions;
  readonly #time: RealTime;
  readonly #link: LinkWatch;
  readonly #matcher: FrameFileMatcher;
  readonly #reports: ShutterReports;
  readonly #wake: Wake;
  readonly #readout = new ReadoutTime();
  readonly #openings = new AnswerDelay();
  #shutter: Shutter = { kind: "closed" };
  #orders: readonly ExposureOrder[] = [];
  #isEnding = false;
  /** A frame is being read out by the camera; `ready` is owed at this moment at the latest. */
  #readyAtMs: number | null = null;
  #orderExpectedUntilMs = 0;
  /** Length of the exposure before, real milliseconds. */
  #lastExposureMs = 0;

  constructor(options: FrameExposerOptions) {
    this.#options = options;
    this.#time = options.time;
    this.#link = options.link;
    this.#matcher = options.matcher;
    this.#reports = options.reports;
    this.#wake = options.wake;
  }

  /** The frame that the shutter is open for, or about to be. */
  get exposingIndex(): number | null {
    return this.#shutter.kind === "closed" ? null : this.#shutter.order.frameIndex;
  }

  /** How long a step of other work may take at most now, real milliseconds. */
  get stepMsMax(): number {
    if (this.#shutter.kind === "open" || this.#shutter.kind === "prepared") return STEP_MS.open;
    return this.#time.nowMs() < this.#orderExpectedUntilMs
      ? STEP_MS.orderExpected
      : STEP_MS.otherwise;
  }

  /** Orders a frame; one that cannot be taken is reported at once. */
  take(order: ExposureOrder): void {
    if (this.#isEnding) return;
    if (this.#link.connected === null)
      return this.#reports.fail(goneError(), order.frameIndex, "gone");
    if (this.#orders.length >= ORDERS_MAX) {
      const error = new NightError("camera.busy", "More frames were ordered than can wait.");
      return this.#reports.fail(error, order.frameIndex, "there");
    }
    this.#orders = [...this.#orders, order];
  }

  /** Nothing new is begun; what is open runs on. */
  end(): void {
    this.#isEnding = true;
    this.#orders = [];
    if (this.#shutter.kind === "prepared") this.#shutter = { kind: "closed" };
  }

  /** Closes an open or opening shutter in the next turn. */
  closeNow(): void {
    const shutter = this.#shutter;
    if (shutter.kind === "open") this.#shutter = { ...shutter, closeAtMs: this.#time.nowMs() };
    if (shutter.kind === "opening") this.#shutter = { ...shutter, isOver: true };
  }

  /** The link is lost, and with it every order. @returns the frame that was exposing; null: none. */
  forgetAll(): number | null {
    const { exposingIndex } = this;
    this.#shutter = { kind: "closed" };
    this.#orders = [];
    this.#readyAtMs = null;
    return exposingIndex;
  }

  /** What is to be done next, and when; null: nothing. */
  nextMove(): Move | null {
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

  async #prepare(order: ExposureOrder): Promise<void> {
    this.#orders = this.#orders.slice(1);
    await this.#forOrder(order, async ({ mover }) => {
      await this.#untilNotBusy(async () => await mover.prepare(order.exposure));
      for (const sentence of mover.takeRemarks())
        this.#reports.tell({ kind: "remarked", sentence });
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
    if (sentence !== null) this.#reports.tell({ kind: "remarked", sentence });
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
    this.#reports.tellOpened(order, result);
  }

  async #startTimed(mover: ShutterMover, order: ExposureOrder): Promise<void> {
    const { result } = await this.#begin(order, "timed", async () => {
      const started = await mover.startTimed(order.exposure);
      return { result: started, captureId: started.captureId };
    });
    const { answer, exposureSeconds } = result;
    const closesAtMs = answer.answeredMs + (exposureSeconds * 1000) / this.#options.origin.rate;
    this.#shutter = { kind: "timed", order, exposureSeconds, closesAtMs };
    this.#reports.tellOpened(order, answer);
  }

  /** Starts a capture, again while the camera is busy, and expects its file from then on. */
  async #begin<T>(
    order: ExposureOrder,
    kind: "bulb" | "timed",
    start: () => Promise<{ readonly result: T; readonly captureId: TransactionId | null }>,
  ): Promise<{ readonly openingId: TransactionId; readonly result: T }> {
    const { session } = this.#link.requireConnected().link;
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
    const { link, mover } = this.#link.requireConnected();
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

  /** The camera closed before it was asked to, and may have named the file then. */
  #noteEndedItself(link: CameraLink, mover: ShutterMover): void {
    const sentence = mover.noteEndedItself();
    if (sentence !== null) this.#reports.tell({ kind: "remarked", sentence });
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
    const { mover } = this.#link.requireConnected();
    this.#reports.tell({
      kind: "shutterClosed",
      frameIndex,
      atMs: nightOf(closedMs, this.#options.origin),
      happened: mover.actualExposure(exposureSeconds, exposure),
      ...(mover.isIsoReported ? {} : { isIsoReported: false }),
      ...(closing && { closing }),
    });
    this.#readout.noteClosed(closedMs);
    const lateMs = this.#matcher.expect(frameIndex, closedMs);
    const { readyAfterMs } = this.#readout;
    this.#readyAtMs = readyAfterMs === null ? lateMs : closedMs + readyAfterMs;
    // The file may have been named before the shutter was known to be closed.
    if (!this.#matcher.isAwaited(frameIndex)) this.noteReadOut();
  }

  /** The camera said that it is done with a frame. */
  noteReadOut(): void {
    const isGuess = this.#readout.readyAfterMs === null;
    if (isGuess && this.#readyAtMs !== null && this.#shutter.kind === "closed") this.#becomeReady();
  }

  #becomeReady(): void {
    this.#readyAtMs = null;
    this.#orderExpectedUntilMs = this.#time.nowMs() + ORDER_EXPECTED_MS;
    this.#reports.tell({ kind: "ready", atMs: this.#reports.nightNow() });
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
      await part(this.#link.requireConnected());
    } catch (thrown) {
      const error = asNightError(thrown);
      const isLost = error.code === "camera.gone";
      // A lost link is reported once, for this frame.
      this.#shutter = isLost ? { kind: "prepared", order, openAtMs: 0 } : { kind: "closed" };
      if (isLost) throw error;
      if (error.code === "camera.busy") this.#link.noteStayedBusy();
      this.#reports.fail(error, order.frameIndex, "there");
    }
  }
}
