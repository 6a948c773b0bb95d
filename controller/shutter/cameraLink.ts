import { NightError } from "../../core/errors.ts";
import type { DeviceInfo } from "../../core/ptp/datasets/deviceInfo.ts";
import { transactionId, type TransactionId } from "../../core/ptp/ids.ts";
import { operationOfCode, OPERATIONS, type Operation } from "../../core/ptp/operations.ts";
import { exposureTime } from "../../core/ptp/properties.ts";
import type { CameraControls, ControlStep } from "../../core/profiles/cameraControls.ts";
import { unitFactorOf } from "../../core/profiles/exposureUnit.ts";
import {
  controlsOf,
  factsOf,
  resolveCameraProfile,
  STANDARD_PROFILE_ID,
  type CameraProfiles,
} from "../../core/profiles/resolve.ts";
import { STANDARD_CONTROLS } from "../cameras/standardControls.ts";
import { PtpSession, type SurvivingSession } from "../cameras/ptpSession.ts";
import type { Transport, TransportEvent } from "../cameras/transport.ts";
import { REAL_TIME, type RealTime } from "../timing/clock.ts";
import { CameraProperties, CONVENTIONAL_RUNGS } from "./cameraProperties.ts";
import { runSteps } from "./controlSteps.ts";
import type { CameraTaskTools } from "./cameraTask.ts";
import { LinkSpeed } from "./linkSpeed.ts";
import type { OpenExposure } from "./shutterNote.ts";

const OPEN_MS = 8_000;
/** A camera that has just been connected may still be busy with itself. */
const BUSY_MS_MAX = 5_000;
/** The same where its shutter may be open: then it may be busy for good, and that is to be reported soon. */
const LEFT_BUSY_MS_MAX = 500;

/** What became of an exposure that an earlier connection left open. */
export type LeftExposure = "closed" | "open" | "another body's";

export type CameraLinkOptions = {
  readonly transport: Transport;
  /** How the camera is worked; when there are profiles, until it has said what it is. */
  readonly controls: CameraControls;
  /** Profiles to choose from; null or left out: the controls hold. */
  readonly profiles?: CameraProfiles | undefined;
  /** Left out: the time of life. */
  readonly time?: RealTime;
  readonly onEvent: (event: TransportEvent) => void;
  readonly onLost: (error: NightError) => void;
  /** Called with every number of the session just before it is used. */
  readonly onNumber?: (transactionId: TransactionId) => void;
};

/**
 * A connection to a camera: its session, how it is worked, and what became of an earlier one.
 */
export class CameraLink implements CameraTaskTools {
  readonly session: PtpSession;
  readonly properties: CameraProperties;
  readonly speed = new LinkSpeed();
  readonly #options: CameraLinkOptions;
  #chosen: CameraControls;
  #info: DeviceInfo | null = null;
  readonly #remarks: string[] = [];

  constructor(options: CameraLinkOptions) {
    this.#options = options;
    this.#chosen = options.controls;
    this.session = new PtpSession(options.transport, {
      onAnswer: (operation, answer) => {
        // Operations that move the shutter take the camera's time, not the link's.
        if (PLAIN_OPERATIONS.includes(operation.code)) {
          this.speed.noteRoundTrip(answer.answeredMs - answer.sentMs);
        }
      },
      busyPollMs: () => this.busyPollMs,
      time: options.time ?? REAL_TIME,
      ...(options.onNumber && { onNumber: options.onNumber }),
    });
    this.properties = new CameraProperties(this.session, options.controls);
  }

  /**
   * Connects and learns what the camera can do.
   *
   * @param left  An exposure that an earlier connection, of this process or of one that is dead, left
   *   open. It is ended by its number only inside the session that it runs in, and only on the same
   *   body; in a new session only the profile's own closing step is taken, and the state is read.
   * @returns what became of it, as far as can be found out; "closed" where nothing was left.
   * @throws NightError `camera.unreachable`, `camera.busy`, `camera.refused`, `camera.gone`, …
   */
  async open(left: OpenExposure | null): Promise<LeftExposure> {
    const { transport } = this.#options;
    await transport.open(OPEN_MS);
    transport.onEvent(this.#options.onEvent);
    transport.onLost(this.#options.onLost);
    let isEnded = left === null;
    const survivor = left && this.#survivorOf(left, () => (isEnded = true));
    await this.session.open(survivor);
    this.#info = await this.session.getDeviceInfo({ busyMsMax: BUSY_MS_MAX });
    this.#chosen = this.#choose(this.#info);
    if (this.#chosen.connectSteps.length > 0) {
      await this.#greet();
      // Some bodies say only now what they can do.
      this.#info = await this.session.getDeviceInfo({ busyMsMax: BUSY_MS_MAX });
    }
    this.#chosen = this.#withStandardSettings(this.#chosen, this.#info);
    // Before the settings are learnt: a body that exposes may be too busy to tell them.
    if (!isEnded && !isOtherBody(left, this.#info)) await this.#takeClosingStep();
    await this.properties.learn(this.#info, this.#chosen, isEnded ? BUSY_MS_MAX : LEFT_BUSY_MS_MAX);
    this.#chosen = this.#withLikelyUnit(this.#chosen);
    this.properties.use(this.#chosen);
    if (isOtherBody(left, this.#info)) return "another body's";
    return isEnded || (await this.closeUnnamed()) ? "closed" : "open";
  }

  /** Exposure times that make sense in another unit alone are taken in that, and it is said. */
  #withLikelyUnit(chosen: CameraControls): CameraControls {
    const { exposureTime: control } = chosen;
    const described = this.properties.describedAs(control);
    if (control?.coding.kind !== "scale" || described?.form.kind !== "enumeration") return chosen;
    const ladder = this.properties.ladder(control).filter((seconds) => seconds <= exposureTime.max);
    const factor = unitFactorOf(ladder);
    if (factor === 1) return chosen;
    const unit = factor === 10 ? "milliseconds" : "microseconds";
    this.#remarks.push(
      `The camera's exposure times make sense in ${unit} alone and are taken so; if frames come out far too dark or too bright, use bulb or a release contact.`,
    );
    const coding = { ...control.coding, perUnit: control.coding.perUnit / factor };
    return { ...chosen, exposureTime: { ...control, coding } };
  }

  #survivorOf(left: OpenExposure, onEnded: () => void): SurvivingSession {
    const options = { busyMsMax: BUSY_MS_MAX };
    return {
      lastTransactionId: transactionId(left.lastTransactionId),
      beforeClosing: async () => {
        await isTaken(async () => (this.#info = await this.session.getDeviceInfo(options)));
        const serialNumber = this.#info?.serialNumber ?? "";
        if (this.#info === null || serialNumber === "" || serialNumber !== left.serialNumber)
          return;
        this.#chosen = this.#choose(this.#info);
        if (await this.#endNamed(transactionId(left.openingTransactionId))) onEnded();
      },
    };
  }

  /**
   * Closes a shutter that may be open, without naming what opened it: by the profile's closing step,
   * and by leaving bulb where it is a speed. No source for the latter: a body that exposes as long as
   * its speed says has no reason to go on.
   *
   * @returns whether the camera then takes a setting, as it does with its shutter closed.
   */
  async closeUnnamed(): Promise<boolean> {
    await this.#takeClosingStep();
    try {
      await this.properties.leaveBulbSpeed();
    } catch (thrown) {
      if (!(thrown instanceof NightError) || thrown.code === "camera.gone") throw thrown;
    }
    return (await this.properties.tryASetting()) === "taken";
  }

  /** How this camera is worked. */
  get controls(): CameraControls {
    return this.#chosen;
  }

  get busyPollMs(): number {
    return this.#chosen.busyPollMs;
  }

  /** What the camera said of itself; null: not connected yet. */
  get info(): DeviceInfo | null {
    return this.#info;
  }

  #choose(info: DeviceInfo): CameraControls {
    const { profiles, transport, controls } = this.#options;
    if (!profiles) return controls;
    return resolveCameraProfile(factsOf(info, transport.usbIds), profiles);
  }

  /**
   * Takes the profile's first steps. A body that refuses them is worked by the standard alone: that
   * a profile names a whole family of cameras must not lock one of them out.
   */
  async #greet(): Promise<void> {
    const { connectSteps, profileId } = this.#chosen;
    try {
      await runSteps(this.session, connectSteps, { busyMsMax: BUSY_MS_MAX });
    } catch (thrown) {
      if (!(thrown instanceof NightError && thrown.code === "ptp.response")) throw thrown;
      this.#chosen = this.#standardControls();
      this.#remarks.push(
        `The camera refuses the first steps of its hardware profile "${profileId}" and is worked by the standard alone; what only its maker's own operations can do is not to be had.`,
      );
    }
  }

  /** What a photographer should know of how this camera is worked. */
  get remarks(): readonly string[] {
    return this.#remarks;
  }

  #standardControls(): CameraControls {
    const { profiles } = this.#options;
    return profiles ? controlsOf(STANDARD_PROFILE_ID, profiles) : STANDARD_CONTROLS;
  }

  /** A setting whose property the body does not have is the standard's, where it has that. */
  #withStandardSettings(chosen: CameraControls, info: DeviceInfo): CameraControls {
    const standard = this.#standardControls();
    const has = (control: { readonly propertyCode: number } | null): boolean =>
      control !== null && info.devicePropertiesSupported.includes(control.propertyCode);
    const pick = <C extends { readonly propertyCode: number; readonly assumed?: unknown }>(
      mine: C | null,
      theirs: C | null,
    ): C | null => (mine?.assumed || has(mine) || !has(theirs) ? mine : theirs);
    return {
      ...chosen,
      exposureTime: pick(chosen.exposureTime, standard.exposureTime),
      iso: pick(chosen.iso, standard.iso),
      fNumber: pick(chosen.fNumber, standard.fNumber),
      battery: pick(chosen.battery, standard.battery),
    };
  }

  /** Whether the standard's own operations could do what the profile's steps were refused. */
  get hasStandardBulb(): boolean {
    return (
      this.controls.bulb?.openSteps !== undefined &&
      this.can(OPERATIONS.InitiateOpenCapture.code) &&
      this.can(OPERATIONS.TerminateOpenCapture.code)
    );
  }

  /** Ends session and transport in order. */
  async close(): Promise<void> {
    await this.session.close();
    await this.#options.transport.close();
  }

  get hasBulb(): boolean {
    const { bulb } = this.controls;
    if (bulb === null) return false;
    // A maker's own operations are not always announced: the profile is believed.
    if (bulb.openSteps) return true;
    return this.can(bulb.openOperation) && this.can(bulb.closeOperation);
  }

  can(operationCode: number): boolean {
    return this.#info?.operationsSupported.includes(operationCode) ?? false;
  }

  get openOperation(): Operation {
    const { code } = OPERATIONS.InitiateOpenCapture;
    return operationOfCode(this.controls.bulb?.openOperation ?? code, "none");
  }

  get closeOperation(): Operation {
    const { code } = OPERATIONS.TerminateOpenCapture;
    return operationOfCode(this.controls.bulb?.closeOperation ?? code, "none");
  }

  /** Timed exposures that can be set, seconds, ascending. */
  get exposureLadderSeconds(): readonly number[] {
    const { timedSteps, exposureTime: control } = this.controls;
    if (timedSteps === null && !this.can(OPERATIONS.InitiateCapture.code)) return [];
    if (this.properties.keeps(control)) return this.#fixedSeconds();
    const ladder = this.properties.ladder(control).filter((seconds) => seconds <= exposureTime.max);
    if (ladder.length > 0) return ladder;
    if (!this.properties.takesAnyNumber(control)) return this.#fixedSeconds();
    const { min, max } = UNLISTED_SECONDS;
    return CONVENTIONAL_RUNGS.filter((seconds) => seconds >= min && seconds <= max);
  }

  /** The one speed of a camera whose speed is set by hand. */
  #fixedSeconds(): readonly number[] {
    const seconds = this.properties.settingOf(this.controls.exposureTime);
    return seconds === null || seconds > exposureTime.max ? [] : [seconds];
  }

  /**
   * Ends a capture by the transaction that began it, inside the session of both.
   * @returns whether the camera confirms that it is over. "No such capture" confirms nothing: the
   *   number may be wrong.
   */
  async #endNamed(openingId: TransactionId): Promise<boolean> {
    const { bulb } = this.controls;
    const options = { busyMsMax: BUSY_MS_MAX };
    return await isTaken(async () => {
      if (bulb?.closeSteps) {
        await runSteps(this.session, bulb.closeSteps, { openingId, ...options });
      } else {
        const named = bulb?.closeNamesOpening === false ? null : openingId;
        await this.session.terminateOpenCapture(named, this.closeOperation, options);
      }
    });
  }

  /** The profile's way of closing, where it names no transaction. */
  async #takeClosingStep(): Promise<void> {
    const { bulb } = this.controls;
    const options = { busyMsMax: BUSY_MS_MAX };
    const steps = bulb?.closeSteps;
    if (steps?.some(namesOpening)) return;
    if (steps) await isTaken(() => runSteps(this.session, steps, options));
    else if (bulb?.closeNamesOpening === false) {
      await isTaken(() => this.session.terminateOpenCapture(null, this.closeOperation, options));
    }
  }
}

function namesOpening(step: ControlStep): boolean {
  return step.kind === "operation" && step.parameters.includes("openingTransaction");
}

function isOtherBody(left: OpenExposure | null, info: DeviceInfo): boolean {
  const { serialNumber = "" } = left ?? {};
  return serialNumber !== "" && info.serialNumber !== "" && serialNumber !== info.serialNumber;
}

/** Whether the camera did what it was asked; a lost link is another matter. */
async function isTaken(ask: () => Promise<unknown>): Promise<boolean> {
  try {
    await ask();
    return true;
  } catch (thrown) {
    if (!(thrown instanceof NightError) || thrown.code === "camera.gone") throw thrown;
    return false;
  }
}

/** What a camera without a list is offered, seconds; common practice, no source. */
const UNLISTED_SECONDS = { min: 1 / 60, max: 30 };

const PLAIN_OPERATIONS: readonly number[] = [
  OPERATIONS.GetDeviceInfo.code,
  OPERATIONS.GetDevicePropDesc.code,
  OPERATIONS.GetDevicePropValue.code,
  OPERATIONS.GetObjectInfo.code,
];
