import { asNightError, NightError } from "../../core/errors.ts";
import { transactionId, type TransactionId } from "../../core/ptp/ids.ts";
import { RESPONSES } from "../../core/ptp/responses.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import type { CameraControls, ControlStep } from "../../core/profiles/cameraControls.ts";
import { isResponse } from "../cameras/ptpSession.ts";
import type { OperationAnswer } from "../cameras/transport.ts";
import { pauseFor } from "../timing/clock.ts";
import { BusyWait, promptPace, whileBusy } from "../timing/whileBusy.ts";
import type { CameraLink } from "./cameraLink.ts";
import { runSteps } from "./controlSteps.ts";
import { chooseExposureMethod, type ExposureMethod } from "./exposureMethod.ts";
import type { ShutterLamp } from "./shutterLamp.ts";

/** Time for one attempt to close, and for all of them before the link is given up. */
const CLOSE_ANSWER_MS = 3_000;
const CLOSE_MS_MAX = 8_000;

type ShutterMoverOptions = {
  readonly link: CameraLink;
  readonly controls: CameraControls;
  readonly lamp: ShutterLamp;
};

/** Talks one connected camera into opening and closing its shutter. */
export class ShutterMover {
  readonly #options: ShutterMoverOptions;

  constructor(options: ShutterMoverOptions) {
    this.#options = options;
  }

  /**
   * How an exposure of this length is made.
   * @throws NightError `camera.unsupported` when the camera offers no way at all.
   */
  methodFor(exposureSeconds: number): ExposureMethod {
    const { link, controls } = this.#options;
    const method = chooseExposureMethod({
      exposureSeconds,
      ladderSeconds: link.exposureLadderSeconds,
      hasBulb: link.hasBulb,
      timedBelowSeconds: controls.timedBelowSeconds,
    });
    if (method !== null) return method;
    throw new NightError(
      "camera.unsupported",
      "This camera offers neither bulb nor exposure times over its cable; use a release contact.",
    );
  }

  /** Brings the settings in place; that costs the camera's time only when they change. */
  async prepare(exposure: Exposure): Promise<void> {
    const { link, controls } = this.#options;
    const settings = [controls.iso, controls.fNumber, controls.exposureTime];
    const before = settings.map((control) => link.properties.settingOf(control));
    await link.properties.setTo(controls.iso, exposure.iso);
    await link.properties.setTo(controls.fNumber, exposure.fNumber);
    const method = this.methodFor(exposure.exposureSeconds);
    if (method.kind === "timed")
      await link.properties.setTo(controls.exposureTime, method.exposureSeconds);
    const hasChanged = settings.some(
      (control, at) => link.properties.settingOf(control) !== before[at],
    );
    if (hasChanged && controls.settleMs > 0) await pauseFor(link.session.time, controls.settleMs);
  }

  /** What an exposure of this length is taken with, by the settings as they were read back. */
  happened(exposureSeconds: number, ordered: Exposure): Exposure {
    const { link, controls } = this.#options;
    return {
      exposureSeconds,
      iso: link.properties.settingOf(controls.iso) ?? ordered.iso,
      fNumber: link.properties.settingOf(controls.fNumber) ?? ordered.fNumber,
    };
  }

  /** Starts an exposure by the camera's own timer. @returns its true length as well. */
  async startTimed(
    ordered: Exposure,
  ): Promise<{ readonly answer: OperationAnswer; readonly exposureSeconds: number }> {
    const { link, controls } = this.#options;
    const answer = controls.timedSteps
      ? await runSteps(link.session, controls.timedSteps)
      : await link.session.initiateCapture();
    const setSeconds = link.properties.settingOf(controls.exposureTime);
    return { answer, exposureSeconds: setSeconds ?? ordered.exposureSeconds };
  }

  /** Opens the shutter; the lamp burns from before the request until it is surely closed. */
  async open(): Promise<OperationAnswer> {
    const { link, lamp, controls } = this.#options;
    lamp.light(link.session.upcomingTransactionId);
    try {
      const openSteps = controls.bulb?.openSteps;
      if (openSteps) return await this.#openBySteps(openSteps);
      return await link.session.initiateOpenCapture(link.openOperation);
    } catch (thrown) {
      await this.#afterFailedOpening(thrown);
      throw thrown;
    }
  }

  /**
   * Closes the shutter, again and again while the camera has an excuse. If it keeps refusing, the
   * link is declared lost: dropping it ends the session and with it the capture.
   */
  async close(openingId: TransactionId): Promise<OperationAnswer> {
    const { link, controls, lamp } = this.#options;
    const { time } = link.session;
    let answer: OperationAnswer;
    try {
      answer = await whileBusy(() => this.#tryToClose(openingId), {
        wait: new BusyWait(promptPace(controls.busyPollMs), CLOSE_MS_MAX, time.nowMs),
        pause: (pauseMs) => pauseFor(time, pauseMs),
        isBusy: ({ code }) => code !== "camera.gone",
      });
    } catch (thrown) {
      const error = asNightError(thrown);
      throw error.code === "camera.gone" ? error : refusesToClose(error);
    }
    lamp.putOut();
    return answer;
  }

  async #tryToClose(openingId: TransactionId): Promise<OperationAnswer> {
    const { link, controls } = this.#options;
    const { session, closeOperation } = link;
    const closeSteps = controls.bulb?.closeSteps;
    const named = controls.bulb?.closeNamesOpening === false ? null : openingId;
    const options = { timeoutMs: CLOSE_ANSWER_MS };
    try {
      if (closeSteps) return await runSteps(session, closeSteps, { ...options, openingId });
      return await session.terminateOpenCapture(named, closeOperation, options);
    } catch (thrown) {
      // The camera knows of no such capture: then it is not running.
      if (!isResponse(thrown, RESPONSES.InvalidTransactionID)) throw thrown;
      return instantAnswer(session.time.nowMs());
    }
  }

  /**
   * Of several steps the first may have done something that the refused second left behind; it is
   * undone as far as the camera lets it be.
   */
  async #openBySteps(steps: readonly ControlStep[]): Promise<OperationAnswer> {
    const { link, controls } = this.#options;
    try {
      return await runSteps(link.session, steps);
    } catch (thrown) {
      const error = asNightError(thrown);
      const closeSteps = controls.bulb?.closeSteps ?? [];
      if (error.code !== "camera.gone" && "responseCode" in error.details) {
        await runSteps(link.session, closeSteps).catch(() => undefined);
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
    return this.#options.controls.bulbExcessMs ?? this.#options.link.pace.roundTripMs;
  }

  /**
   * An opening that was refused by a clear answer left the shutter closed. Without such an answer
   * nobody knows, and the exposure is ended to be sure; on a lost link the lamp stays lit.
   */
  async #afterFailedOpening(thrown: unknown): Promise<void> {
    const { lamp } = this.#options;
    const error = asNightError(thrown);
    const wasRefused = "responseCode" in error.details;
    if (error.code === "camera.gone" && !wasRefused) return;
    if (wasRefused) lamp.putOut();
    else await this.close(transactionId(lamp.openingTransactionId));
  }
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
