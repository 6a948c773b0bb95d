import { asNightError, NightError, type ErrorCode } from "../../core/errors.ts";
import { EVENTS } from "../../core/ptp/events.ts";
import { NO_TRANSACTION, transactionId, type TransactionId } from "../../core/ptp/ids.ts";
import type { CameraEvent, ExposureOrder } from "../cameras/camera.ts";
import type { CameraControls } from "../../core/profiles/cameraControls.ts";
import type { CameraProfiles } from "../../core/profiles/resolve.ts";
import type { OperationAnswer, Transport, TransportEvent } from "../cameras/transport.ts";
import { realMs, type ClockOrigin } from "../timing/clock.ts";
import { AnswerPace } from "./answerPace.ts";
import { ownedBytes, type OwnedBytes } from "../workers/ownedBytes.ts";
import { CameraLink } from "./cameraLink.ts";
import type { ClockSetting } from "./cameraTime.ts";
import type { Errand } from "./errand.ts";
import { ErrandQueue } from "./errandQueue.ts";
import {
  cardErrand,
  fileErrand,
  pieceErrand,
  pollErrand,
  settingsErrand,
  statusErrand,
} from "./errands.ts";
import { FrameDesk, RANK } from "./frameDesk.ts";
import type { FromShutter, ToShutter } from "./messages.ts";
import { nightOf, realOf } from "./nightTime.ts";
import type { MomentWait } from "../timing/preciseWait.ts";
import { ReadoutPace } from "./readoutPace.ts";
import type { ShutterLamp } from "./shutterLamp.ts";
import { ShutterMover } from "./shutterMover.ts";
import { Wake } from "./wake.ts";

export type TimingLoopOptions = {
  readonly cameraId: string;
  readonly origin: ClockOrigin;
  /** How the camera is worked; when there are profiles, until it has said what it is. */
  readonly controls: CameraControls;
  readonly profiles?: CameraProfiles | null;
  /** Left out or null: the camera's clock is left alone. */
  readonly setClock?: ClockSetting | null;
  readonly lamp: ShutterLamp;
  readonly wait: MomentWait;
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

/** Something that has its time, whether or not it is due. */
type Move = { readonly atMs: number; readonly isPrecise: boolean; act(): Promise<void> };

type Connected = { readonly link: CameraLink; readonly mover: ShutterMover };

const ORDERS_MAX = 4;
/**
 * Longest errand step, real milliseconds, while the next order may come at any moment; while the
 * shutter is open and could be closed early; and otherwise. No source: small beside a frame.
 */
const STEP_MS = { orderExpected: 4, open: 20, otherwise: 100 };
/** How long after a frame the next order is expected. */
const ORDER_EXPECTED_MS = 3_000;
/** Pauses between attempts to reach a camera whose shutter may be open; the last one repeats. */
const RESCUE_PAUSES_MS = [0, 250, 500, 1_000, 2_000, 5_000];
/** Attempts that a program that is ending still makes. */
const LAST_RESCUES = 3;
/** Pauses on a busy camera grow with the time that it has been busy, to this at most. */
const BUSY_PAUSE_SHARE = 0.02;
const BUSY_PAUSE_MS_MAX = 100;
/** How long a camera may be busy with itself when it has just been connected. */
const FIRST_LIST_BUSY_MS = 5_000;

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
  readonly #errands = new ErrandQueue();
  readonly #readout = new ReadoutPace();
  readonly #openings = new AnswerPace();
  readonly #desk: FrameDesk;
  #connected: Connected | null = null;
  #shutter: Shutter = { kind: "closed" };
  #orders: readonly ExposureOrder[] = [];
  #isConnectWanted = false;
  #isEnding = false;
  #isEnded = false;
  #loss: NightError | null = null;
  /** A frame is being read out by the camera; `ready` is owed at this moment at the latest. */
  #readyAtMs: number | null = null;
  #orderExpectedUntilMs = 0;
  /** When a camera is next asked for its events, real time; Infinity: it sends them. */
  #pollAtMs = Infinity;
  /** Length of the exposure before, real milliseconds. */
  #lastExposureMs = 0;
  #rescue = { attempts: 0, atMs: 0 };

  constructor(options: TimingLoopOptions) {
    this.#options = options;
    this.#desk = new FrameDesk({
      controls: () => this.#controls,
      origin: options.origin,
      errands: this.#errands,
      tell: (event) => this.#tell(event),
      exposingIndex: () => this.#exposingIndex,
    });
  }

  get #controls(): CameraControls {
    return this.#connected?.link.controls ?? this.#options.controls;
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
        if (this.#exposingIndex === message.frameIndex) this.#closeNow();
        break;
      case "readStatus":
        this.#addErrand(RANK.status, (link) => statusErrand(link, this.#tellers()));
        break;
      case "prepare":
        this.#addRequest(message.requestId, RANK.settings, (link) =>
          settingsErrand(link, message, this.#options.tell),
        );
        break;
      case "noteReleased":
        if (message.what === "opened") this.#desk.await(message.frameIndex, NO_TRANSACTION, true);
        else this.#desk.expect(message.frameIndex, realMs());
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
      case "fetchPiece":
        this.#addRequest(message.requestId, RANK.file, (link) =>
          pieceErrand(link, message, this.#options.tell),
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
    await this.#connected?.link.close();
    this.#connected = null;
    this.#errands.dropAll(goneError());
    this.#options.tell({ kind: "ended" });
  }

  async #turn(): Promise<void> {
    if (this.#loss) throw this.#loss;
    if (this.#connected === null) return await this.#turnAway();
    const isAtRest = this.#shutter.kind === "closed";
    if (this.#isConnectWanted && isAtRest) return await this.#announce(this.#connected.link);
    if (this.#isEnding && isAtRest && !this.#options.lamp.isLit) {
      this.#isEnded = true;
      return;
    }
    const move = this.#nextMove();
    const { handOverMs } = this.#options.wait;
    const leftMs = move === null ? Infinity : move.atMs - realMs() - handOverMs;
    if (move !== null && leftMs <= 0) return await this.#make(move);
    if (this.#desk.compareAtMs <= realMs()) this.#desk.compare(this.#connected.link);
    if (this.#pollAtMs <= realMs()) this.#poll(this.#connected.link);
    if (await this.#errands.step({ leftMs, stepMs: this.#stepMs() })) return;
    const nextMs = Math.min(this.#errands.nextMs, this.#desk.compareAtMs, this.#pollAtMs);
    await this.#wake.pause(Math.min(leftMs, nextMs - realMs()));
  }

  async #make(move: Move): Promise<void> {
    if (move.isPrecise) this.#options.wait.blockUntil(move.atMs);
    if (realMs() >= move.atMs) await move.act();
    else await this.#wake.pause(move.atMs - realMs());
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
    if (this.#connected === null) return this.#fail(goneError(), order.frameIndex, true);
    if (this.#orders.length >= ORDERS_MAX) {
      const error = new NightError("camera.busy", "More frames were ordered than can wait.");
      return this.#fail(error, order.frameIndex, false);
    }
    this.#orders = [...this.#orders, order];
  }

  async #prepare(order: ExposureOrder): Promise<void> {
    this.#orders = this.#orders.slice(1);
    await this.#forOrder(order, async ({ mover }) => {
      await this.#insist(async () => await mover.prepare(order.exposure));
      if (this.#isEnding) return;
      const openAtMs = realOf(order.openAtMs, this.#options.origin);
      this.#shutter = { kind: "prepared", order, openAtMs };
    });
  }

  async #open(order: ExposureOrder): Promise<void> {
    this.#shutter = { kind: "opening", order, isOver: false };
    this.#readyAtMs = null;
    await this.#forOrder(order, async ({ mover }) => {
      const { exposureSeconds } = order.exposure;
      if (mover.methodFor(exposureSeconds).kind === "bulb") await this.#openBulb(mover, order);
      else await this.#startTimed(mover, order);
    });
  }

  async #openBulb(mover: ShutterMover, order: ExposureOrder): Promise<void> {
    const { openingId, result } = await this.#begin(order, true, () => mover.open());
    const openedMs = result.answeredMs - this.#openings.noteAnswer(result);
    const exposureMs = (order.exposure.exposureSeconds * 1000) / this.#options.origin.rate;
    const isOver = this.#shutter.kind === "opening" && this.#shutter.isOver;
    const closeAtMs = isOver ? 0 : openedMs + exposureMs - mover.bulbExcessMs;
    this.#shutter = { kind: "open", order, openingId, openedMs, closeAtMs };
    this.#tellOpened(order, result);
  }

  async #startTimed(mover: ShutterMover, order: ExposureOrder): Promise<void> {
    const { result } = await this.#begin(order, false, () => mover.startTimed(order.exposure));
    const { answer, exposureSeconds } = result;
    const closesAtMs = answer.answeredMs + (exposureSeconds * 1000) / this.#options.origin.rate;
    this.#shutter = { kind: "timed", order, exposureSeconds, closesAtMs };
    this.#tellOpened(order, answer);
  }

  /** Starts a capture, again while the camera is busy, and expects its file from then on. */
  async #begin<T>(
    order: ExposureOrder,
    isHeldOpen: boolean,
    start: () => Promise<T>,
  ): Promise<{ readonly openingId: TransactionId; readonly result: T }> {
    const { session } = this.#requireConnected().link;
    const { frameIndex } = order;
    return await this.#insist(async () => {
      const openingId = session.upcomingTransactionId;
      const startMs = realMs();
      this.#desk.await(frameIndex, openingId, isHeldOpen);
      try {
        const result = await start();
        this.#readout.noteOpened(startMs);
        return { openingId, result };
      } catch (thrown) {
        this.#desk.giveUp(frameIndex);
        if (asNightError(thrown).code === "camera.busy") this.#readout.noteBusy();
        throw thrown;
      }
    });
  }

  async #close(open: Open): Promise<void> {
    const { mover } = this.#requireConnected();
    this.#desk.noteClosing(open.order.frameIndex);
    const answer = await mover.close(open.openingId);
    const openMs = answer.sentMs - open.openedMs + mover.bulbExcessMs;
    this.#noteClosed(open.order, {
      closedMs: answer.answeredMs,
      exposureSeconds: (openMs * this.#options.origin.rate) / 1000,
    });
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
    { closedMs, exposureSeconds }: { closedMs: number; exposureSeconds: number },
  ): void {
    this.#shutter = { kind: "closed" };
    this.#lastExposureMs = (exposureSeconds * 1000) / this.#options.origin.rate;
    this.#tell({
      kind: "shutterClosed",
      frameIndex,
      atMs: nightOf(closedMs, this.#options.origin),
      happened: this.#requireConnected().mover.happened(exposureSeconds, exposure),
    });
    this.#readout.noteClosed(closedMs);
    const lateMs = this.#desk.expect(frameIndex, closedMs);
    const { readyAfterMs } = this.#readout;
    this.#readyAtMs = readyAfterMs === null ? lateMs : closedMs + readyAfterMs;
    // The file may have been named before the shutter was known to be closed.
    if (!this.#desk.isAwaited(frameIndex)) this.#noteReadOut();
  }

  /** The camera said that it is done with a frame. */
  #noteReadOut(): void {
    const isGuess = this.#readout.readyAfterMs === null;
    if (isGuess && this.#readyAtMs !== null && this.#shutter.kind === "closed") this.#becomeReady();
  }

  #becomeReady(): void {
    this.#readyAtMs = null;
    this.#orderExpectedUntilMs = realMs() + ORDER_EXPECTED_MS;
    this.#tell({ kind: "ready", atMs: nightOf(realMs(), this.#options.origin) });
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

  /**
   * Repeats while the camera is busy; an event of the camera makes the next attempt come sooner. A
   * wish to connect anew lets go of the order.
   */
  async #insist<T>(attempt: () => Promise<T>): Promise<T> {
    const { busyPollMs, busyMsMax } = this.#controls;
    const startMs = realMs();
    const untilMs = startMs + busyMsMax + this.#lastExposureMs;
    for (;;) {
      try {
        return await attempt();
      } catch (thrown) {
        const isBusy = asNightError(thrown).code === "camera.busy";
        const isOver = this.#isEnding || this.#isConnectWanted || realMs() > untilMs;
        if (!isBusy || isOver) throw thrown;
        const longerMs = Math.min((realMs() - startMs) * BUSY_PAUSE_SHARE, BUSY_PAUSE_MS_MAX);
        await this.#wake.pause(Math.max(busyPollMs, longerMs));
      }
    }
  }

  /** Does a part of an order; what goes wrong with the order alone is told and costs that frame. */
  async #forOrder(
    order: ExposureOrder,
    part: (connected: Connected) => Promise<void>,
  ): Promise<void> {
    try {
      await part(this.#requireConnected());
    } catch (thrown) {
      const error = asNightError(thrown);
      const isLost = error.code === "camera.gone";
      // A lost link is told of once, for this frame.
      this.#shutter = isLost ? { kind: "prepared", order, openAtMs: 0 } : { kind: "closed" };
      if (isLost) throw error;
      this.#fail(error, order.frameIndex, false);
    }
  }

  // What the camera says.

  #hear(event: TransportEvent): void {
    const [parameter] = event.parameters;
    const link = this.#connected?.link;
    switch (this.#meaningOf(event.eventCode)) {
      case EVENTS.ObjectAdded:
      case EVENTS.RequestObjectTransfer:
        if (parameter && this.#controls.quirks.includes("reusedHandle")) {
          this.#desk.forgetFile(parameter);
        }
        if (parameter && link && this.#desk.name(link, parameter, event.transactionId)) {
          this.#noteReadOut();
        }
        break;
      case EVENTS.ObjectRemoved:
        if (parameter) this.#desk.forgetFile(parameter);
        break;
      case EVENTS.CaptureComplete:
        this.#noteReadOut();
        break;
      case EVENTS.DevicePropChanged:
        if (parameter) link?.noteChange(parameter);
        break;
      case EVENTS.StoreFull:
      case EVENTS.StoreRemoved:
        this.#failCard(event);
        break;
      case EVENTS.UnreportedStatus:
        if (link) this.#desk.compare(link);
        break;
      case EVENTS.DeviceReset:
        this.#loss = new NightError("camera.gone", "The camera started anew.");
        break;
    }
    this.#wake.ring();
  }

  /** A maker's own event by the standard's code of what it means. */
  #meaningOf(eventCode: number): number {
    const { objectAddedEvents, captureDoneEvents } = this.#controls;
    if (objectAddedEvents.includes(eventCode)) return EVENTS.ObjectAdded;
    return captureDoneEvents.includes(eventCode) ? EVENTS.CaptureComplete : eventCode;
  }

  /** Asks for events where the camera does not send them. */
  #poll(link: CameraLink): void {
    const { eventPoll } = link.controls;
    this.#pollAtMs = eventPoll === null ? Infinity : realMs() + eventPoll.everyMs;
    if (eventPoll === null || this.#errands.has(RANK.events)) return;
    const errand = pollErrand(link, eventPoll, ({ eventCode, parameter }) =>
      this.#hear({
        eventCode,
        transactionId: NO_TRANSACTION,
        parameters: parameter === null ? [] : [parameter],
        atMs: realMs(),
      }),
    );
    this.#errands.add({ rank: RANK.events, errand, drop: () => undefined });
  }

  /** A full card ends the capture that found it full; its frame has no file to wait for. */
  #failCard(event: TransportEvent): void {
    const [code, sentence]: [ErrorCode, string] =
      event.eventCode === EVENTS.StoreFull
        ? ["camera.card_full", "The camera's card is full; change it or make room."]
        : ["camera.refused", "The camera's card was taken out."];
    const frameIndex = this.#desk.frameOf(event.transactionId);
    if (frameIndex !== null && frameIndex !== this.#exposingIndex) this.#desk.giveUp(frameIndex);
    this.#fail(new NightError(code, sentence), frameIndex, false);
    this.#noteReadOut();
  }

  // Errands.

  #stepMs(): number {
    if (this.#shutter.kind === "open" || this.#shutter.kind === "prepared") return STEP_MS.open;
    return realMs() < this.#orderExpectedUntilMs ? STEP_MS.orderExpected : STEP_MS.otherwise;
  }

  #addErrand(
    rank: number,
    create: (link: CameraLink) => Errand,
    drop: (error: NightError) => void = () => undefined,
  ): void {
    if (this.#connected) this.#errands.add({ rank, errand: create(this.#connected.link), drop });
    else drop(goneError());
  }

  #addRequest(requestId: number, rank: number, create: (link: CameraLink) => Errand): void {
    this.#addErrand(rank, create, ({ code, message: sentence }) =>
      this.#options.tell({ kind: "refused", requestId, code, sentence }),
    );
  }

  // The link.

  /** Without a link there is nothing to do but to get one, for the night or for the shutter. */
  async #turnAway(): Promise<void> {
    const { isLit } = this.#options.lamp;
    if (this.#isEnding && (!isLit || this.#rescue.attempts >= LAST_RESCUES)) {
      this.#isEnded = true;
      return;
    }
    const isRescueDue = isLit && realMs() >= this.#rescue.atMs;
    const isWanted = this.#isConnectWanted && !this.#isEnding;
    if (isWanted || isRescueDue) return await this.#connect();
    await this.#wake.pause(isLit ? this.#rescue.atMs - realMs() : Infinity);
  }

  async #connect(): Promise<void> {
    const { lamp } = this.#options;
    const link = new CameraLink({
      ...this.#options,
      transport: this.#options.createTransport(),
      onEvent: (event) => this.#hear(event),
      onLost: (error) => {
        this.#loss = error;
        this.#wake.ring();
      },
    });
    try {
      await link.open(lamp.isLit ? transactionId(lamp.openingTransactionId) : null);
      this.#desk.learn(await firstList(link));
    } catch (thrown) {
      await this.#noteUnreached(link, asNightError(thrown, "camera.unreachable"));
      return;
    }
    lamp.putOut();
    this.#rescue = { attempts: 0, atMs: 0 };
    const { controls } = link;
    this.#connected = { link, mover: new ShutterMover({ link, controls, lamp }) };
    this.#pollAtMs = controls.eventPoll === null ? Infinity : realMs();
  }

  async #noteUnreached(link: CameraLink, error: NightError): Promise<void> {
    await link.close();
    this.#loss = null;
    const pause = Math.min(this.#rescue.attempts + 1, RESCUE_PAUSES_MS.length - 1);
    this.#rescue = {
      attempts: this.#rescue.attempts + 1,
      atMs: realMs() + (RESCUE_PAUSES_MS[pause] ?? 0),
    };
    if (this.#isConnectWanted) this.#fail(error, null, true);
    this.#isConnectWanted = false;
  }

  async #announce(link: CameraLink): Promise<void> {
    this.#isConnectWanted = false;
    this.#tell({ kind: "connected", description: await link.describe() });
  }

  async #suffer(error: NightError): Promise<void> {
    const isLost = error.code === "camera.gone" || this.#loss !== null;
    if (!isLost) return this.#fail(error, null, false);
    const exposingIndex = this.#exposingIndex;
    const link = this.#connected?.link;
    this.#connected = null;
    this.#shutter = { kind: "closed" };
    this.#orders = [];
    this.#readyAtMs = null;
    this.#rescue = { attempts: 0, atMs: 0 };
    await link?.close();
    this.#loss = null;
    this.#errands.dropAll(error);
    this.#desk.forgetAll(exposingIndex);
    this.#fail(error, exposingIndex, true);
  }

  #requireConnected(): Connected {
    if (this.#connected === null) throw goneError();
    return this.#connected;
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

  #tellers(): Parameters<typeof statusErrand>[1] {
    return {
      tell: (event) => this.#tell(event),
      nightNow: () => nightOf(realMs(), this.#options.origin),
    };
  }

  #fail(error: NightError, frameIndex: number | null, gone: boolean): void {
    const { code, message: sentence } = error;
    this.#tell({ kind: "failed", code, sentence, frameIndex, gone });
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

function goneError(): NightError {
  return new NightError("camera.gone", "The camera is not connected.");
}
