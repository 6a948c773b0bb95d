import { asNightError, NightError, type ErrorCode } from "../../core/errors.ts";
import { EVENTS } from "../../core/ptp/events.ts";
import { transactionId, type TransactionId } from "../../core/ptp/ids.ts";
import { RESPONSES } from "../../core/ptp/responses.ts";
import { monotonicMs, type MonotonicMs } from "../../core/units.ts";
import type { CameraDescription, CameraEvent, ExposureOrder } from "../cameras/camera.ts";
import type { CameraControls } from "../cameras/cameraControls.ts";
import { isResponse } from "../cameras/ptpSession.ts";
import type { OperationAnswer, Transport, TransportEvent } from "../cameras/transport.ts";
import { realMs, type ClockOrigin } from "../clock.ts";
import { CameraLink } from "./cameraLink.ts";
import type { Errand } from "./errand.ts";
import { ErrandQueue } from "./errandQueue.ts";
import { cardErrand, comparisonErrand, fileErrand, frameErrand, statusErrand } from "./errands.ts";
import { chooseExposureMethod } from "./exposureMethod.ts";
import { FrameFiles } from "./frameFiles.ts";
import type { FromShutter, ToShutter } from "./messages.ts";
import type { MomentWait } from "./preciseWait.ts";
import { ReadoutPace } from "./readoutPace.ts";
import type { ShutterLamp } from "./shutterLamp.ts";
import { Wake } from "./wake.ts";

export type TimingLoopOptions = {
  readonly cameraId: string;
  readonly origin: ClockOrigin;
  readonly controls: CameraControls;
  readonly lamp: ShutterLamp;
  readonly wait: MomentWait;
  readonly createTransport: () => Transport;
  readonly tell: (message: FromShutter, transfer?: readonly ArrayBuffer[]) => void;
};

/** Where the shutter stands. Times are real milliseconds. */
type Shutter =
  | { readonly kind: "closed" }
  /** Settings are in place; the shutter opens when it is time. */
  | { readonly kind: "prepared"; readonly order: ExposureOrder; readonly openAtMs: number }
  /** The camera was asked to open; `isOver`: it is to be closed again at once. */
  | { readonly kind: "opening"; readonly order: ExposureOrder; readonly isOver: boolean }
  | {
      readonly kind: "open";
      readonly order: ExposureOrder;
      readonly openingId: TransactionId;
      readonly openedMs: number;
      readonly closeAtMs: number;
    }
  /** The camera's own timer runs. */
  | {
      readonly kind: "timed";
      readonly order: ExposureOrder;
      readonly exposureSeconds: number;
      readonly closesAtMs: number;
    };

/** Which errand goes first; of frames the newest, for the next exposure hangs on it. */
const RANK = {
  comparison: 0,
  frame: (frameIndex: number): number => 2 - frameIndex / (frameIndex + 1),
  status: 3,
  card: 4,
  file: 5,
};
const ORDERS_MAX = 4;

/**
 * Longest errand step, real milliseconds, while the next order may come at any moment; while the
 * shutter is open and could be closed early; and otherwise. No source: small beside a frame.
 */
const STEP_MS = { orderExpected: 4, open: 20, otherwise: 100 };
/** How long after a frame the next order is expected. */
const ORDER_EXPECTED_MS = 3_000;
/** Time for one attempt to close, and for all of them before the link is given up. */
const CLOSE_ANSWER_MS = 3_000;
const CLOSE_MS_MAX = 8_000;
/** Pauses between attempts to reach a camera whose shutter may be open; the last one repeats. */
const RESCUE_PAUSES_MS = [0, 250, 500, 1_000, 2_000, 5_000];
/** Attempts that a program that is ending still makes. */
const LAST_RESCUES = 3;
const GRACE_FLOOR_MS = 500;
/** Files whose names are remembered, to know a frame's second file by. */
const REMEMBERED_NAMES = 8;

/**
 * Owns the camera's session and moves the shutter.
 *
 * One turn after another: if the shutter must move, it is moved; else one step of an errand is
 * taken, if it is sure to be over before the shutter must move; else the loop sleeps until then or
 * until something happens. So closing outranks everything, and nothing is in flight when it is due.
 *
 * Whoever lights the lamp is responsible for the shutter: the loop does not end, and does not stop
 * trying to reach a lost camera, while the lamp burns.
 */
export class TimingLoop {
  readonly #options: TimingLoopOptions;
  readonly #wake = new Wake();
  readonly #files = new FrameFiles();
  #link: CameraLink | null = null;
  #description: CameraDescription | null = null;
  #shutter: Shutter = { kind: "closed" };
  #orders: ExposureOrder[] = [];
  readonly #errands = new ErrandQueue();
  /** Names without endings of the latest frames' files, newest last. */
  readonly #stems: { readonly stem: string; readonly frameIndex: number }[] = [];
  #isConnectWanted = false;
  #isEnding = false;
  #isEnded = false;
  #loss: NightError | null = null;
  readonly #readout = new ReadoutPace();
  /** A frame is being read out by the camera; `ready` is owed at this moment at the latest. */
  #readyAtMs: number | null = null;
  #orderExpectedUntilMs = 0;
  #rescueAttempts = 0;
  #rescueAtMs = 0;

  constructor(options: TimingLoopOptions) {
    this.#options = options;
  }

  /** Takes a wish of the main thread; it is met in one of the next turns. */
  take(message: ToShutter): void {
    switch (message.kind) {
      case "connect":
        this.#isConnectWanted = true;
        break;
      case "expose":
        this.#takeOrder(message.order);
        break;
      case "closeShutter":
        this.#closeEarly(message.frameIndex);
        break;
      case "readStatus":
        this.#addErrand(RANK.status, (link) => statusErrand(link, this.#tellers()));
        break;
      case "listCard":
        this.#addRequest(message.requestId, RANK.card, (link) =>
          cardErrand(link, message.requestId, this.#options.tell),
        );
        break;
      case "fetchFile":
        this.#addRequest(message.requestId, RANK.file, (link) =>
          fileErrand(link, message, this.#options.tell),
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
        await this.#suffer(asNightError(thrown));
      }
    }
    await this.#link?.close();
    this.#link = null;
    this.#errands.dropAll(goneError());
    this.#options.tell({ kind: "ended" });
  }

  async #turn(): Promise<void> {
    if (this.#loss) throw this.#loss;
    if (this.#link === null) return await this.#turnAway();
    if (this.#isConnectWanted && this.#shutter.kind === "closed") await this.#announce();
    if (this.#isEnding && this.#mayEnd()) {
      this.#isEnded = true;
      return;
    }
    const { wait } = this.#options;
    const move = this.#nextMove();
    const leftMs = move === null ? Infinity : move.atMs - realMs() - wait.handOverMs;
    if (move !== null && leftMs <= 0) {
      if (move.isPrecise) wait.blockUntil(move.atMs);
      if (realMs() >= move.atMs) return await move.act();
      return await this.#wake.pause(move.atMs - realMs());
    }
    const compareAtMs = this.#files.compareAtMs ?? Infinity;
    if (compareAtMs <= realMs()) this.#compareCard();
    if (await this.#errands.step({ leftMs, stepMs: this.#stepMs() })) return;
    await this.#wake.pause(
      Math.min(leftMs, this.#errands.nextMs - realMs(), compareAtMs - realMs()),
    );
  }

  /** Without a link there is nothing to do but to get one, for the night or for the shutter. */
  async #turnAway(): Promise<void> {
    const isRescueDue = this.#options.lamp.isLit && realMs() >= this.#rescueAtMs;
    const mayGiveUp = !this.#options.lamp.isLit || this.#rescueAttempts >= LAST_RESCUES;
    if (this.#isEnding && mayGiveUp) {
      this.#isEnded = true;
    } else if ((this.#isConnectWanted && !this.#isEnding) || isRescueDue) {
      await this.#connect();
    } else {
      const untilMs = this.#options.lamp.isLit ? this.#rescueAtMs : Infinity;
      await this.#wake.pause(untilMs - realMs());
    }
  }

  async #connect(): Promise<void> {
    const { lamp } = this.#options;
    const link = new CameraLink({
      ...this.#options,
      transport: this.#options.createTransport(),
      onEvent: (event) => this.#hear(event),
      onLost: (error) => this.#noteLoss(error),
    });
    try {
      await link.open(lamp.isLit ? transactionId(lamp.openingTransactionId) : null);
    } catch (thrown) {
      await link.close();
      this.#loss = null;
      this.#scheduleRescue();
      const error = asNightError(thrown, "camera.unreachable");
      if (this.#isConnectWanted) this.#fail(error, null, true);
      this.#isConnectWanted = false;
      return;
    }
    lamp.putOut();
    this.#rescueAttempts = 0;
    this.#rescueAtMs = 0;
    this.#link = link;
    await this.#learnCard(link);
  }

  /** What is on the card already; a camera that cannot say costs the comparison, not the night. */
  async #learnCard(link: CameraLink): Promise<void> {
    try {
      this.#files.learn(await link.session.getObjectHandles({ busyMsMax: 5_000 }));
    } catch (thrown) {
      if (asNightError(thrown).code !== "ptp.response") throw thrown;
    }
  }

  async #announce(): Promise<void> {
    const link = this.#link;
    if (link === null) return;
    this.#isConnectWanted = false;
    this.#description = await link.describe();
    this.#tellEvent({ kind: "connected", description: this.#description });
  }

  #scheduleRescue(): void {
    const pause = Math.min(this.#rescueAttempts, RESCUE_PAUSES_MS.length - 1);
    this.#rescueAtMs = realMs() + (RESCUE_PAUSES_MS[pause] ?? 0);
    this.#rescueAttempts += 1;
  }

  #mayEnd(): boolean {
    return this.#shutter.kind === "closed" && !this.#options.lamp.isLit;
  }

  /** The next thing that has its time, whether or not it is due. */
  #nextMove(): { atMs: number; isPrecise: boolean; act: () => Promise<void> } | null {
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
        const readyAtMs = this.#readyAtMs;
        if (readyAtMs === null) return null;
        return { atMs: readyAtMs, isPrecise: false, act: async () => this.#becomeReady() };
      }
    }
  }

  // --- exposing -----------------------------------------------------------------------------

  #takeOrder(order: ExposureOrder): void {
    if (this.#isEnding) return;
    if (this.#link === null) return this.#fail(goneError(), order.frameIndex, true);
    if (this.#orders.length >= ORDERS_MAX) {
      const error = new NightError("camera.busy", "more frames were ordered than can wait");
      return this.#fail(error, order.frameIndex, false);
    }
    this.#orders.push(order);
  }

  /** Brings the settings in place, which costs a camera's time only when they change. */
  async #prepare(order: ExposureOrder): Promise<void> {
    const link = this.#requireLink();
    const { controls } = this.#options;
    this.#orders.shift();
    await this.#forOrder(order, async () => {
      const { iso, fNumber } = order.exposure;
      await this.#insist(async () => await link.setTo(controls.iso, iso));
      await this.#insist(async () => await link.setTo(controls.fNumber, fNumber));
      const method = this.#methodFor(order);
      if (method.kind === "timed") {
        await this.#insist(
          async () => await link.setTo(controls.exposureTime, method.exposureSeconds),
        );
      }
      if (this.#isEnding) return;
      this.#shutter = { kind: "prepared", order, openAtMs: this.#realOf(order.openAtMs) };
    });
  }

  #methodFor(order: ExposureOrder): NonNullable<ReturnType<typeof chooseExposureMethod>> {
    const link = this.#requireLink();
    const method = chooseExposureMethod({
      exposureSeconds: order.exposure.exposureSeconds,
      ladderSeconds: link.exposureLadderSeconds,
      hasBulb: link.hasBulb,
      timedBelowSeconds: this.#options.controls.timedBelowSeconds,
    });
    if (method !== null) return method;
    throw new NightError(
      "camera.unsupported",
      "This camera offers neither bulb nor exposure times over its cable; use a release contact.",
    );
  }

  async #open(order: ExposureOrder): Promise<void> {
    this.#shutter = { kind: "opening", order, isOver: false };
    this.#readyAtMs = null;
    await this.#forOrder(order, async () => {
      const method = this.#methodFor(order);
      if (method.kind === "bulb") await this.#openBulb(order);
      else await this.#startTimed(order);
    });
  }

  async #openBulb(order: ExposureOrder): Promise<void> {
    const link = this.#requireLink();
    const { lamp, origin } = this.#options;
    const { openingId, answer } = await this.#begin(order, async () => {
      lamp.light(link.session.upcomingTransactionId);
      try {
        return await link.session.initiateOpenCapture(link.openOperation);
      } catch (thrown) {
        await this.#afterFailedOpening(thrown);
        throw thrown;
      }
    });
    const exposureMs = (order.exposure.exposureSeconds * 1000) / origin.rate;
    const isOver = this.#shutter.kind === "opening" && this.#shutter.isOver;
    this.#shutter = {
      kind: "open",
      order,
      openingId,
      openedMs: answer.answeredMs,
      closeAtMs: isOver ? 0 : answer.answeredMs + exposureMs - this.#bulbExcessMs(),
    };
    this.#tellEvent({
      kind: "shutterOpened",
      frameIndex: order.frameIndex,
      atMs: this.#nightOf(answer.answeredMs),
    });
  }

  /**
   * An opening that was refused by a clear answer left the shutter closed. Without such an answer
   * nobody knows, and the exposure is ended to be sure.
   */
  async #afterFailedOpening(thrown: unknown): Promise<void> {
    const { lamp } = this.#options;
    const wasAnswered = thrown instanceof NightError && "responseCode" in thrown.details;
    if (!wasAnswered) {
      if (thrown instanceof NightError && thrown.code === "camera.gone") return;
      await this.#requireLink()
        .session.terminateOpenCapture(lamp.openingTransactionId, this.#requireLink().closeOperation)
        .catch((second: unknown) => {
          if (!isResponse(second, RESPONSES.InvalidTransactionID)) throw second;
        });
    }
    lamp.putOut();
  }

  async #startTimed(order: ExposureOrder): Promise<void> {
    const link = this.#requireLink();
    const { controls, origin } = this.#options;
    const { answer } = await this.#begin(order, async () => await link.session.initiateCapture());
    const exposureSeconds = link.settingOf(controls.exposureTime) ?? order.exposure.exposureSeconds;
    this.#shutter = {
      kind: "timed",
      order,
      exposureSeconds,
      closesAtMs: answer.answeredMs + (exposureSeconds * 1000) / origin.rate,
    };
    this.#tellEvent({
      kind: "shutterOpened",
      frameIndex: order.frameIndex,
      atMs: this.#nightOf(answer.answeredMs),
    });
  }

  /** Starts a capture, again while the camera is busy, and expects its file from then on. */
  async #begin(
    order: ExposureOrder,
    start: () => Promise<OperationAnswer>,
  ): Promise<{ openingId: TransactionId; answer: OperationAnswer }> {
    const link = this.#requireLink();
    const { frameIndex } = order;
    return await this.#insist(async () => {
      const openingId = link.session.upcomingTransactionId;
      // The event connection may be faster than the answer.
      this.#files.await({ frameIndex, captureId: openingId });
      try {
        const answer = await start();
        this.#readout.noteOpened(answer.sentMs);
        return { openingId, answer };
      } catch (thrown) {
        this.#files.giveUp(frameIndex);
        if (asNightError(thrown).code === "camera.busy") this.#readout.noteBusy();
        throw thrown;
      }
    });
  }

  async #close(open: Extract<Shutter, { kind: "open" }>): Promise<void> {
    const link = this.#requireLink();
    const { lamp, origin, controls } = this.#options;
    const answer = await this.#closeForSure(open.openingId);
    lamp.putOut();
    this.#shutter = { kind: "closed" };
    const openMs = answer.sentMs - open.openedMs + this.#bulbExcessMs();
    const { exposure, frameIndex } = open.order;
    this.#tellEvent({
      kind: "shutterClosed",
      frameIndex,
      atMs: this.#nightOf(answer.answeredMs),
      happened: {
        exposureSeconds: (openMs * origin.rate) / 1000,
        iso: link.settingOf(controls.iso) ?? exposure.iso,
        fNumber: link.settingOf(controls.fNumber) ?? exposure.fNumber,
      },
    });
    this.#expectFile(frameIndex, answer.answeredMs);
  }

  /**
   * Closes the shutter, again and again while the camera has an excuse. If it keeps refusing, the
   * link is dropped: that ends the session and with it the capture, and the rescue looks after it.
   */
  async #closeForSure(openingId: TransactionId): Promise<OperationAnswer> {
    const link = this.#requireLink();
    const named = this.#options.controls.bulb?.closeNamesOpening === false ? null : openingId;
    const untilMs = realMs() + CLOSE_MS_MAX;
    for (let attempt = 1; ; attempt += 1) {
      try {
        return await link.session.terminateOpenCapture(named, link.closeOperation, {
          timeoutMs: CLOSE_ANSWER_MS,
        });
      } catch (thrown) {
        // The camera knows of no such capture: then it is not running.
        if (isResponse(thrown, RESPONSES.InvalidTransactionID)) return instantAnswer();
        const error = asNightError(thrown);
        if (error.code === "camera.gone") throw error;
        if (realMs() > untilMs) {
          throw new NightError(
            "camera.gone",
            "The camera refuses to close its shutter.",
            {},
            {
              cause: error,
            },
          );
        }
        const pauseMs = Math.min(this.#options.controls.busyPollMs * attempt, 500);
        await new Promise((resolve) => setTimeout(resolve, pauseMs));
      }
    }
  }

  #closeEarly(frameIndex: number): void {
    if (this.#exposingIndex === frameIndex) this.#closeNow();
  }

  /** Closes an open or opening shutter in the next turn. */
  #closeNow(): void {
    const shutter = this.#shutter;
    if (shutter.kind === "open") this.#shutter = { ...shutter, closeAtMs: realMs() };
    if (shutter.kind === "opening") this.#shutter = { ...shutter, isOver: true };
  }

  /** The frame that the shutter is open for, or about to be. */
  get #exposingIndex(): number | null {
    return this.#shutter.kind === "closed" ? null : this.#shutter.order.frameIndex;
  }

  #noteTimedEnd(timed: Extract<Shutter, { kind: "timed" }>): void {
    const { controls } = this.#options;
    const link = this.#requireLink();
    this.#shutter = { kind: "closed" };
    const { exposure, frameIndex } = timed.order;
    this.#tellEvent({
      kind: "shutterClosed",
      frameIndex,
      atMs: this.#nightOf(timed.closesAtMs),
      happened: {
        exposureSeconds: timed.exposureSeconds,
        iso: link.settingOf(controls.iso) ?? exposure.iso,
        fNumber: link.settingOf(controls.fNumber) ?? exposure.fNumber,
      },
    });
    this.#expectFile(frameIndex, timed.closesAtMs);
  }

  /**
   * The camera reads the frame out. It is ready when experience says so; without experience, when
   * it names the file, or when that is late.
   */
  #expectFile(frameIndex: number, closedMs: number): void {
    this.#readout.noteClosed(closedMs);
    const lateMs = closedMs + this.#graceMs();
    this.#files.expectBy(frameIndex, lateMs);
    const { readyAfterMs } = this.#readout;
    this.#readyAtMs = readyAfterMs === null ? lateMs : closedMs + readyAfterMs;
    // The file may have been named before the shutter was known to be closed.
    if (!this.#files.isAwaited(frameIndex)) this.#noteReadOut();
  }

  /** The camera said that it is done with a frame. */
  #noteReadOut(): void {
    const isGuess = this.#readout.readyAfterMs === null;
    if (isGuess && this.#readyAtMs !== null && this.#shutter.kind === "closed") this.#becomeReady();
  }

  #becomeReady(): void {
    this.#readyAtMs = null;
    this.#orderExpectedUntilMs = realMs() + ORDER_EXPECTED_MS;
    this.#tellEvent({ kind: "ready", atMs: this.#nightOf(realMs()) });
  }

  /** Repeats while the camera is busy; an event of the camera makes the next attempt come sooner. */
  async #insist<T>(attempt: () => Promise<T>): Promise<T> {
    const { busyPollMs, busyMsMax } = this.#options.controls;
    const untilMs = realMs() + busyMsMax;
    for (;;) {
      try {
        return await attempt();
      } catch (thrown) {
        const isBusy = thrown instanceof NightError && thrown.code === "camera.busy";
        if (!isBusy || this.#isEnding || realMs() > untilMs) throw thrown;
        await this.#wake.pause(busyPollMs);
      }
    }
  }

  /** Does a part of an order; what goes wrong with the order alone is told and costs that frame. */
  async #forOrder(order: ExposureOrder, part: () => Promise<void>): Promise<void> {
    try {
      await part();
    } catch (thrown) {
      const error = asNightError(thrown);
      if (error.code === "camera.gone") {
        this.#shutter = { kind: "prepared", order, openAtMs: 0 }; // so that the loss names the frame
        throw error;
      }
      this.#shutter = { kind: "closed" };
      this.#fail(error, order.frameIndex, false);
    }
  }

  // --- what the camera says -----------------------------------------------------------------

  #hear(event: TransportEvent): void {
    const [parameter] = event.parameters;
    switch (event.eventCode) {
      case EVENTS.ObjectAdded:
      case EVENTS.RequestObjectTransfer:
        if (parameter) this.#nameFile(parameter, event.transactionId);
        break;
      case EVENTS.ObjectRemoved:
        if (parameter) this.#files.forgetFile(parameter);
        break;
      case EVENTS.CaptureComplete:
        this.#noteReadOut();
        break;
      case EVENTS.DevicePropChanged:
        if (parameter) this.#link?.noteChange(parameter);
        break;
      case EVENTS.StoreFull:
      case EVENTS.StoreRemoved:
        this.#failCard(event.eventCode);
        break;
      case EVENTS.UnreportedStatus:
        this.#compareCard();
        break;
      case EVENTS.DeviceReset:
        this.#noteLoss(new NightError("camera.gone", "The camera started anew."));
        break;
    }
    this.#wake.ring();
  }

  #nameFile(handle: number, eventTransactionId: number | null): void {
    const named = this.#files.name(handle, eventTransactionId);
    if (named.kind !== "ofFrame") return;
    const { frameIndex, captureId } = named;
    this.#addErrand(
      RANK.frame(frameIndex),
      (link) =>
        frameErrand(link, { frameIndex, handle }, this.#options.controls, {
          ...this.#tellers(),
          isOther: (info) => this.#isOtherFrames(info.filename, frameIndex),
          onOther: () => {
            const isOpen = this.#exposingIndex === frameIndex;
            const compareAtMs = isOpen ? null : realMs() + this.#graceMs();
            this.#files.awaitAgain({ frameIndex, captureId }, compareAtMs);
          },
        }),
      (error) => this.#tellMissing(frameIndex, error.message),
    );
    this.#noteReadOut();
  }

  /** Raw and JPEG of one frame share a name, so the second is told from the next frame's first. */
  #isOtherFrames(filename: string, frameIndex: number): boolean {
    const stem = filename.replace(/\.[^.]*$/, "");
    const isOther = this.#stems.some((one) => one.stem === stem && one.frameIndex !== frameIndex);
    if (!isOther && stem !== "") this.#stems.push({ stem, frameIndex });
    if (this.#stems.length > REMEMBERED_NAMES) this.#stems.shift();
    return isOther;
  }

  #failCard(eventCode: number): void {
    const [code, sentence]: [ErrorCode, string] =
      eventCode === EVENTS.StoreFull
        ? ["camera.card_full", "The camera's card is full; change it or make room."]
        : ["camera.refused", "The camera's card was taken out."];
    this.#fail(new NightError(code, sentence), null, false);
  }

  #compareCard(): void {
    if (this.#errands.has(RANK.comparison)) return;
    this.#addErrand(RANK.comparison, (link) =>
      comparisonErrand(link, (handles) => {
        for (const handle of handles) this.#nameFile(handle, null);
        const missing = this.#files.noteComparison(realMs(), this.#graceMs());
        for (const frameIndex of missing) this.#tellMissing(frameIndex, LATE_FILE);
      }),
    );
  }

  // --- errands ------------------------------------------------------------------------------

  #stepMs(): number {
    if (this.#shutter.kind === "open" || this.#shutter.kind === "prepared") return STEP_MS.open;
    return realMs() < this.#orderExpectedUntilMs ? STEP_MS.orderExpected : STEP_MS.otherwise;
  }

  #addErrand(
    rank: number,
    create: (link: CameraLink) => Errand,
    drop: (error: NightError) => void = () => undefined,
  ): void {
    if (this.#link) this.#errands.add({ rank, errand: create(this.#link), drop });
    else drop(goneError());
  }

  #addRequest(requestId: number, rank: number, create: (link: CameraLink) => Errand): void {
    this.#addErrand(rank, create, ({ code, message: sentence }) =>
      this.#options.tell({ kind: "refused", requestId, code, sentence }),
    );
  }

  // --- trouble ------------------------------------------------------------------------------

  #noteLoss(error: NightError): void {
    this.#loss = error;
    this.#wake.ring();
  }

  async #suffer(error: NightError): Promise<void> {
    const isLost = error.code === "camera.gone" || this.#loss !== null;
    if (!isLost) return this.#fail(error, null, false);
    const exposingIndex = this.#exposingIndex;
    const link = this.#link;
    this.#link = null;
    this.#loss = null;
    this.#shutter = { kind: "closed" };
    this.#orders = [];
    this.#readyAtMs = null;
    this.#rescueAttempts = 0;
    this.#rescueAtMs = 0;
    await link?.close();
    this.#loss = null;
    this.#errands.dropAll(error);
    for (const frameIndex of this.#files.forgetAll()) {
      if (frameIndex !== exposingIndex) this.#tellMissing(frameIndex, LOST_LINK);
    }
    this.#fail(error, exposingIndex, true);
  }

  #fail(error: NightError, frameIndex: number | null, gone: boolean): void {
    const { code, message: sentence } = error;
    this.#tellEvent({ kind: "failed", code, sentence, frameIndex, gone });
  }

  #tellMissing(frameIndex: number, why: string): void {
    this.#tellEvent({ kind: "frameMissing", frameIndex, why });
  }

  #tellEvent(event: CameraEvent): void {
    const transfer = event.kind === "frameArrived" ? [event.jpeg.buffer as ArrayBuffer] : [];
    this.#options.tell({ kind: "event", event }, transfer);
  }

  #tellers(): { tell: (event: CameraEvent) => void; nightNow: () => MonotonicMs } {
    return {
      tell: (event) => this.#tellEvent(event),
      nightNow: () => this.#nightOf(realMs()),
    };
  }

  #requireLink(): CameraLink {
    if (this.#link === null) throw goneError();
    return this.#link;
  }

  // --- time ---------------------------------------------------------------------------------

  #realOf(nightMs: MonotonicMs): number {
    const { origin } = this.#options;
    return origin.realOriginMs + nightMs / origin.rate;
  }

  #nightOf(atMs: number): MonotonicMs {
    const { origin } = this.#options;
    return monotonicMs((atMs - origin.realOriginMs) * origin.rate);
  }

  /**
   * What an exposure is longer than the time from the answer to opening until the sending of
   * closing. Opening's answer and closing's request both travel, each half a round trip.
   */
  #bulbExcessMs(): number {
    return this.#options.controls.bulbExcessMs ?? this.#link?.pace.roundTripMs ?? 0;
  }

  /** How long the camera may take to name a file, real milliseconds. */
  #graceMs(): number {
    return GRACE_FLOOR_MS + this.#options.controls.fileGraceMs / this.#options.origin.rate;
  }
}

const LATE_FILE = "the camera did not name a file for this frame";
const LOST_LINK = "the link was lost before the camera named the file; it may be on the card";

function goneError(): NightError {
  return new NightError("camera.gone", "The camera is not connected.");
}

function instantAnswer(): OperationAnswer {
  const nowMs = realMs();
  return {
    responseCode: RESPONSES.InvalidTransactionID,
    parameters: [],
    dataBytes: 0,
    isDataComplete: true,
    sentMs: nowMs,
    answeredMs: nowMs,
  };
}
