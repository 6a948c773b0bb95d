import { asNightError, NightError } from "../../core/errors.ts";
import { transactionId, type TransactionId } from "../../core/ptp/ids.ts";
import { OPERATIONS, type Operation } from "../../core/ptp/operations.ts";
import { exposureIndex } from "../../core/ptp/properties.ts";
import { RESPONSES } from "../../core/ptp/responses.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import type { CameraControls, ControlStep } from "../../core/profiles/cameraControls.ts";
import { isResponse } from "../cameras/ptpSession.ts";
import type { OperationAnswer } from "../cameras/transport.ts";
import { pauseFor } from "../timing/clock.ts";
import { BusyWait, promptPauses, whileBusy } from "../timing/whileBusy.ts";
import type { CameraLink } from "./cameraLink.ts";
import { chooseExposureMethod, type ExposureMethod } from "./exposureMethod.ts";
import { ExposureWays, isRefusal, type Way } from "./exposureWays.ts";
import type { ShutterFlag } from "./shutterFlag.ts";
import type { ShutterNote } from "./shutterNote.ts";

/** Time for one attempt to close, and for all of them before the link is given up. */
const CLOSE_ANSWER_MS = 3_000;
const CLOSE_MS_MAX = 8_000;

type ShutterMoverOptions = {
  readonly link: CameraLink;
  readonly controls: CameraControls;
  readonly flag: ShutterFlag;
  readonly note: ShutterNote;
};

/** Talks one connected camera into opening and closing its shutter. */
export class ShutterMover {
  readonly #options: ShutterMoverOptions;
  readonly #ways = new ExposureWays();
  /** The profile's steps were refused, and the standard's operations serve. */
  #capturesByStandard = false;
  #opensByStandard = false;
  /** Transaction of the latest capture by the camera's own timer; null: a maker's steps made it. */
  #captureId: TransactionId | null = null;
  /** An open capture worked only once the exposure time stood at bulb. */
  #needsBulbSpeed = false;
  /** A bulb exposure was over before it was closed. */
  #endsBulbItself = false;
  readonly #saidKept = new Set<string>();

  constructor(options: ShutterMoverOptions) {
    this.#options = options;
  }

  /**
   * How an exposure of this length is made.
   * @throws NightError `camera.unsupported` when the camera offers no way at all.
   */
  methodFor(exposureSeconds: number, without: readonly Way[] = []): ExposureMethod {
    const { link, controls } = this.#options;
    const left = WAYS.filter((way) => !without.includes(way) && this.#offers(way));
    const open = left.filter((way) => this.#ways.isOpen(way, this.#nowMs));
    // With every way left aside the camera is asked as if none were: there is nothing to lose.
    const ways = open.length > 0 ? open : left;
    const method = chooseExposureMethod({
      exposureSeconds,
      ladderSeconds: ways.includes("timed") ? link.exposureLadderSeconds : [],
      hasBulb: ways.includes("bulb"),
      timedBelowSeconds: controls.timedBelowSeconds,
    });
    if (method !== null) return method;
    throw new NightError(
      "camera.unsupported",
      "This camera offers neither bulb nor exposure times over its cable; use a release contact.",
    );
  }

  #offers(way: Way): boolean {
    const { link } = this.#options;
    return way === "bulb" ? link.hasBulb : link.exposureLadderSeconds.length > 0;
  }

  /** Whether the camera offers a way beside these. */
  has(refused: readonly Way[]): boolean {
    return WAYS.some((way) => !refused.includes(way) && this.#offers(way));
  }

  /**
   * A way was refused by a clear answer.
   *
   * @returns a sentence for the photographer when it is left aside from now on; null: not yet, or
   *   known already.
   */
  noteRefusal(way: Way): string | null {
    const wasOpen = this.#ways.isOpen(way, this.#nowMs);
    const isAside = this.#ways.noteRefusal(way, this.#nowMs);
    return wasOpen && isAside
      ? refusedSentence(way, this.#offers(way === "bulb" ? "timed" : "bulb"))
      : null;
  }

  /**
   * The camera had ended a bulb exposure by itself: where that repeats, bulb is left aside.
   *
   * @returns a sentence for the photographer; null: it was said before.
   */
  noteEndedItself(): string | null {
    this.#ways.noteRefusal("bulb", this.#nowMs);
    const isKnown = this.#endsBulbItself;
    this.#endsBulbItself = true;
    return isKnown ? null : endedItselfSentence(this.#offers("timed"));
  }

  noteSuccess(way: Way): void {
    this.#ways.noteSuccess(way);
  }

  /** A dial moved: what was refused may be asked for again. */
  reconsider(): void {
    this.#ways.reconsider();
    this.#options.link.properties.reconsider();
    this.#saidKept.clear();
  }

  /** Sentences on settings that the camera keeps to itself, each once. */
  takeRemarks(): readonly string[] {
    const { link, controls } = this.#options;
    return KEPT_SETTINGS.flatMap(({ name, advice }) => {
      const setting = link.properties.settingOf(controls[name]);
      if (!link.properties.keeps(controls[name]) || setting === null) return [];
      if (this.#saidKept.has(name)) return [];
      this.#saidKept.add(name);
      return keptSentence(name, setting, advice);
    });
  }

  /** Brings the settings in place; that costs the camera's time only when they change. */
  async prepare(exposure: Exposure, without: readonly Way[] = []): Promise<void> {
    const { link, controls } = this.#options;
    const settings = [controls.iso, controls.fNumber, controls.exposureTime];
    const before = settings.map((control) => link.properties.settingOf(control));
    await link.properties.setTo(controls.iso, exposure.iso);
    await link.properties.setTo(controls.fNumber, exposure.fNumber);
    const method = this.methodFor(exposure.exposureSeconds, without);
    if (method.kind === "timed") {
      await link.properties.setTo(controls.exposureTime, method.exposureSeconds);
    } else if (this.#needsBulbSpeed) await link.properties.setToBulbSpeed();
    const hasChanged = settings.some(
      (control, at) => link.properties.settingOf(control) !== before[at],
    );
    if (hasChanged && controls.settleMs > 0) await pauseFor(link.session.time, controls.settleMs);
  }

  /** What an exposure of this length is taken with, by the settings as they were read back. */
  actualExposure(exposureSeconds: number, ordered: Exposure): Exposure {
    const { link, controls } = this.#options;
    return {
      exposureSeconds,
      iso: this.#reportedIso ?? ordered.iso,
      fNumber: link.properties.settingOf(controls.fNumber) ?? ordered.fNumber,
    };
  }

  /** Whether the camera tells its ISO: not without such a property, nor while it chooses by itself. */
  get isIsoReported(): boolean {
    return this.#reportedIso !== null;
  }

  get #reportedIso(): number | null {
    const iso = this.#options.link.properties.settingOf(this.#options.controls.iso);
    return iso !== null && iso <= exposureIndex.max ? iso : null;
  }

  /**
   * Starts an exposure by the camera's own timer.
   *
   * @returns its true length and the transaction that made it as well; null: a maker's steps did.
   */
  async startTimed(ordered: Exposure): Promise<{
    readonly answer: OperationAnswer;
    readonly exposureSeconds: number;
    readonly captureId: TransactionId | null;
  }> {
    const { link, controls } = this.#options;
    if (link.properties.isAtBulbSpeed) {
      throw new NightError(
        "camera.unsupported",
        "The camera's exposure time stands at bulb and does not leave it; a timed exposure would never end. Turn its dial to M.",
      );
    }
    const answer = await this.#capture();
    const setSeconds = link.properties.settingOf(controls.exposureTime);
    const exposureSeconds = setSeconds ?? ordered.exposureSeconds;
    return { answer, exposureSeconds, captureId: this.#captureId };
  }

  /** By the profile's steps; a body that refuses them may know the standard's operation. */
  async #capture(): Promise<OperationAnswer> {
    const { link, controls } = this.#options;
    if (controls.timedSteps && !this.#capturesByStandard) {
      try {
        return await link.properties.runSteps(controls.timedSteps);
      } catch (thrown) {
        const isOffered = link.can(OPERATIONS.InitiateCapture.code);
        if (!isRefusal(asNightError(thrown)) || !isOffered) throw thrown;
        this.#capturesByStandard = true;
      }
    }
    this.#captureId = link.session.upcomingTransactionId;
    return await link.session.initiateCapture();
  }

  /** The transaction that the camera knows the open capture by. */
  get openingId(): TransactionId {
    return transactionId(this.#options.flag.openingTransactionId);
  }

  /** Opens the shutter; the flag is set from before the request until it is surely closed. */
  async open(): Promise<OperationAnswer> {
    const { controls } = this.#options;
    this.#noteOpening();
    try {
      const openSteps = controls.bulb?.openSteps;
      if (!openSteps || this.#opensByStandard) return await this.#openByOperation();
      try {
        return await this.#openBySteps(openSteps);
      } catch (thrown) {
        if (!isRefusal(asNightError(thrown)) || !this.#options.link.hasStandardBulb) throw thrown;
        this.#opensByStandard = true;
        return await this.#openByOperation();
      }
    } catch (thrown) {
      await this.#afterFailedOpening(thrown);
      throw thrown;
    }
  }

  /**
   * Closes the shutter, again and again while the camera has an excuse. If it keeps refusing, the
   * link is declared lost: dropping it ends the session and with it the capture.
   */
  async close(
    openingId: TransactionId,
  ): Promise<OperationAnswer & { readonly hadEndedItself: boolean }> {
    const { link, controls } = this.#options;
    const { time } = link.session;
    let answer: OperationAnswer;
    let attempts = 0;
    const attempt = async (): Promise<OperationAnswer> => {
      attempts += 1;
      return await this.#tryToClose(openingId);
    };
    try {
      answer = await whileBusy(attempt, {
        wait: new BusyWait(promptPauses(controls.busyPollMs), CLOSE_MS_MAX, time.nowMs),
        pause: (pauseMs) => pauseFor(time, pauseMs),
        isBusy: ({ code }) => code !== "camera.gone",
      });
    } catch (thrown) {
      const error = asNightError(thrown);
      throw error.code === "camera.gone" ? error : refusesToClose(error);
    }
    this.#noteClosed();
    // An earlier attempt whose answer was lost may have closed it; the first one cannot have.
    const hadEndedItself =
      attempts === 1 && answer.responseCode === RESPONSES.CaptureAlreadyTerminated;
    return { ...answer, hadEndedItself };
  }

  /** Known to every thread, and to the next process, before the camera is asked. */
  #noteOpening(): void {
    const { link, flag, note } = this.#options;
    const id = link.session.upcomingTransactionId;
    note.begin(link.info?.serialNumber ?? "", id);
    flag.set(id);
  }

  #noteClosed(): void {
    this.#options.flag.clear();
    this.#options.note.clear();
  }

  async #tryToClose(openingId: TransactionId): Promise<OperationAnswer> {
    const { link, controls } = this.#options;
    const { session } = link;
    const closeSteps = this.#opensByStandard ? undefined : controls.bulb?.closeSteps;
    const isNamed = this.#opensByStandard || controls.bulb?.closeNamesOpening !== false;
    const named = isNamed ? openingId : null;
    const options = { timeoutMs: CLOSE_ANSWER_MS };
    try {
      if (closeSteps) {
        return await link.properties.runSteps(closeSteps, { ...options, openingId });
      }
      return await session.terminateOpenCapture(named, this.#closeOperation, options);
    } catch (thrown) {
      // Either no such capture runs any more, or the number is wrong and it does: the camera is asked.
      if (!isResponse(thrown, RESPONSES.InvalidTransactionID)) throw thrown;
      if ((await link.properties.tryASetting()) !== "taken") throw thrown;
      return instantAnswer(session.time.nowMs());
    }
  }

  get #closeOperation(): Operation {
    return this.#opensByStandard
      ? OPERATIONS.TerminateOpenCapture
      : this.#options.link.closeOperation;
  }

  /** On some bodies bulb is a value of the exposure time, and an open capture wants it there. */
  async #openByOperation(): Promise<OperationAnswer> {
    const { link } = this.#options;
    const operation = this.#opensByStandard ? OPERATIONS.InitiateOpenCapture : link.openOperation;
    const open = async (): Promise<OperationAnswer> => {
      // The capture is known by its own number, whatever was tried before.
      this.#noteOpening();
      return await link.session.initiateOpenCapture(operation);
    };
    try {
      return await open();
    } catch (thrown) {
      const mayBeSpeed =
        isRefusal(asNightError(thrown)) &&
        link.properties.hasBulbSpeed &&
        !link.properties.isAtBulbSpeed;
      if (!mayBeSpeed || !(await link.properties.setToBulbSpeed())) throw thrown;
      const answer = await open();
      this.#needsBulbSpeed = true;
      return answer;
    }
  }

  get #nowMs(): number {
    return this.#options.link.session.time.nowMs();
  }

  /**
   * Of several steps the first may have done something that the refused second left behind; it is
   * undone as far as the camera lets it be.
   */
  async #openBySteps(steps: readonly ControlStep[]): Promise<OperationAnswer> {
    const { link, controls } = this.#options;
    try {
      return await link.properties.runSteps(steps);
    } catch (thrown) {
      const error = asNightError(thrown);
      const closeSteps = controls.bulb?.closeSteps ?? [];
      if (error.code !== "camera.gone" && "responseCode" in error.details) {
        await link.properties.runSteps(closeSteps).catch(() => undefined);
      }
      throw thrown;
    }
  }

  /**
   * What an exposure is longer than the time from the answer to opening until the sending of
   * closing, real milliseconds. Opening's answer and closing's request both travel, each for half
   * a round trip.
   */
  get bulbExcessMs(): number {
    return this.#options.controls.bulbExcessMs ?? this.#options.link.speed.roundTripMs;
  }

  /**
   * An opening that was refused by a clear answer left the shutter closed. Without such an answer
   * nobody knows, and the exposure is ended to be sure; on a lost link the flag stays set.
   */
  async #afterFailedOpening(thrown: unknown): Promise<void> {
    const { flag } = this.#options;
    const error = asNightError(thrown);
    const wasRefused = "responseCode" in error.details;
    if (error.code === "camera.gone" && !wasRefused) return;
    if (wasRefused) this.#noteClosed();
    else await this.close(transactionId(flag.openingTransactionId));
  }
}

const WAYS: readonly Way[] = ["bulb", "timed"];

function refusedSentence(way: Way, hasOther: boolean): string {
  const what =
    way === "bulb" ? "The camera offers bulb and refuses it" : "The camera refuses timed exposures";
  const advice = way === "bulb" ? "turn its dial to B" : "turn its dial to M";
  return hasOther
    ? `${what}; ${way === "bulb" ? "its own exposure times serve" : "bulb serves"} meanwhile. If you want it, ${advice}; Nattvakt tries again every 5 minutes.`
    : `${what}, and has no other way to expose: ${advice}, or use a release contact.`;
}

const KEPT_SETTINGS = [
  { name: "exposureTime", advice: "turn its dial to M" },
  { name: "iso", advice: "switch its automatic ISO off" },
  { name: "fNumber", advice: "turn its dial to M, or the lens's ring to its electronic position" },
] as const;

function keptSentence(
  name: (typeof KEPT_SETTINGS)[number]["name"],
  setting: number,
  advice: string,
): string {
  const named = {
    exposureTime: `exposure time: it stays at ${Number(setting.toPrecision(2))} s`,
    iso: `ISO: it stays at ${Math.round(setting)}`,
    fNumber: `f-number: it stays at ${setting.toFixed(1)}`,
  };
  return `The camera answers that it takes a new setting and keeps its ${named[name]}. Nattvakt reckons with that; if you want it set, ${advice}.`;
}

function endedItselfSentence(hasTimed: boolean): string {
  const what = "The camera ends its bulb exposures by itself before they are over";
  const advice = "look for a limit of bulb or a self-timer in its menu, or use a release contact";
  return hasTimed
    ? `${what}, so frames come out shorter than planned; where that repeats, its own exposure times serve. If you want bulb, ${advice}.`
    : `${what}, so frames come out shorter than planned, and it has no other way to expose: ${advice}.`;
}

function refusesToClose(cause: NightError): NightError {
  return new NightError("camera.gone", "The camera refuses to close its shutter.", {}, { cause });
}

function instantAnswer(nowMs: number): OperationAnswer {
  return {
    responseCode: RESPONSES.InvalidTransactionID,
    parameters: [],
    dataBytes: 0,
    isDataComplete: true,
    sentMs: nowMs,
    answeredMs: nowMs,
  };
}
