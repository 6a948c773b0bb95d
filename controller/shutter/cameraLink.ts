import { NightError } from "../../core/errors.ts";
import type { DeviceInfo } from "../../core/ptp/datasets/deviceInfo.ts";
import type { TransactionId } from "../../core/ptp/ids.ts";
import { operationOfCode, OPERATIONS, type Operation } from "../../core/ptp/operations.ts";
import { exposureTime } from "../../core/ptp/properties.ts";
import type { CameraControls } from "../../core/profiles/cameraControls.ts";
import {
  controlsOf,
  resolveCameraProfile,
  STANDARD_PROFILE_ID,
  type CameraProfiles,
} from "../../core/profiles/resolve.ts";
import { STANDARD_CONTROLS } from "../cameras/cameraControls.ts";
import { PtpSession } from "../cameras/ptpSession.ts";
import type { Transport, TransportEvent } from "../cameras/transport.ts";
import { REAL_TIME, type RealTime } from "../timing/clock.ts";
import { CameraProperties, CONVENTIONAL_RUNGS } from "./cameraProperties.ts";
import { runSteps } from "./controlSteps.ts";
import type { CameraTaskTools } from "./cameraTask.ts";
import { LinkSpeed } from "./linkSpeed.ts";

const OPEN_MS = 8_000;
/** A camera that has just been connected may still be busy with itself. */
const BUSY_MS_MAX = 5_000;

export type CameraLinkOptions = {
  readonly transport: Transport;
  /** How the camera is worked; when there are profiles, until it has said what it is. */
  readonly controls: CameraControls;
  /** Profiles to choose from; null or left out: the controls hold. */
  readonly profiles?: CameraProfiles | null;
  /** Left out: the time of life. */
  readonly time?: RealTime;
  readonly onEvent: (event: TransportEvent) => void;
  readonly onLost: (error: NightError) => void;
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
  #greetingRemark: string | null = null;

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
    });
    this.properties = new CameraProperties(this.session, options.controls);
  }

  /**
   * Connects and learns what the camera can do.
   *
   * @param orphan  Transaction of an open-ended capture that an earlier connection left behind.
   * @throws NightError `camera.unreachable`, `camera.busy`, `camera.refused`, `camera.gone`, …
   */
  async open(orphan: TransactionId | null): Promise<void> {
    const { transport } = this.#options;
    await transport.open(OPEN_MS);
    transport.onEvent(this.#options.onEvent);
    transport.onLost(this.#options.onLost);
    const endOrphan = async (): Promise<void> => {
      if (orphan !== null) await this.#tryToEnd(orphan);
    };
    await this.session.open(endOrphan);
    await endOrphan();
    this.#info = await this.session.getDeviceInfo({ busyMsMax: BUSY_MS_MAX });
    this.#chosen = this.#choose(this.#info);
    // A shutter that was opened by a maker's own steps can be closed only now that they are known.
    if (orphan !== null && this.#chosen.bulb?.closeSteps) await this.#tryToEnd(orphan);
    if (this.#chosen.connectSteps.length > 0) {
      await this.#greet();
      // Some bodies say only now what they can do.
      this.#info = await this.session.getDeviceInfo({ busyMsMax: BUSY_MS_MAX });
    }
    this.#chosen = this.#withStandardSettings(this.#chosen, this.#info);
    await this.properties.learn(this.#info, this.#chosen, BUSY_MS_MAX);
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
    const device = {
      usbVendorId: transport.usbIds?.vendorId ?? null,
      usbProductId: transport.usbIds?.productId ?? null,
      ptpVendorExtensionId: info.vendorExtensionId,
      model: info.model,
      serialNumber: info.serialNumber,
      firmware: info.deviceVersion,
    };
    return resolveCameraProfile(device, profiles);
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
      this.#greetingRemark = `The camera refuses the first steps of its hardware profile "${profileId}" and is worked by the standard alone; what only its maker's own operations can do is not to be had.`;
    }
  }

  /** What became of the profile's first steps, where it is worth a sentence. */
  get greetingRemark(): string | null {
    return this.#greetingRemark;
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

  /** Ends a capture that may have ended long ago. */
  async #tryToEnd(openingId: TransactionId): Promise<void> {
    try {
      const { bulb } = this.controls;
      if (bulb?.closeSteps) {
        await runSteps(this.session, bulb.closeSteps, { openingId, busyMsMax: BUSY_MS_MAX });
        return;
      }
      const named = bulb?.closeNamesOpening === false ? null : openingId;
      await this.session.terminateOpenCapture(named, this.closeOperation, {
        busyMsMax: BUSY_MS_MAX,
      });
    } catch (thrown) {
      // "No such capture" is the answer that is hoped for; a lost link is another matter.
      if (!(thrown instanceof NightError) || thrown.code === "camera.gone") throw thrown;
    }
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
