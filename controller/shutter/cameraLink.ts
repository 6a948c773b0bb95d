import { NightError } from "../../core/errors.ts";
import type { DeviceInfo } from "../../core/ptp/datasets/deviceInfo.ts";
import { legalValues, type DevicePropDesc } from "../../core/ptp/datasets/devicePropDesc.ts";
import type { TransactionId } from "../../core/ptp/ids.ts";
import { OPERATIONS, type Operation } from "../../core/ptp/operations.ts";
import type { PtpValue } from "../../core/ptp/dataTypes.ts";
import { imageSize } from "../../core/ptp/properties.ts";
import type { CameraDescription } from "../cameras/camera.ts";
import {
  rawOf,
  valueOf,
  type CameraControls,
  type NumberControl,
  type StateControl,
  type WordControl,
} from "../../core/profiles/cameraControls.ts";
import { resolveCameraProfile, type CameraProfiles } from "../../core/profiles/resolve.ts";
import { PtpSession } from "../cameras/ptpSession.ts";
import type { Transport, TransportEvent } from "../cameras/transport.ts";
import { createClock, type Clock, type ClockOrigin } from "../timing/clock.ts";
import {
  isWorthSetting,
  measureClockOffset,
  trySetClock,
  type ClockSetting,
} from "./cameraTime.ts";
import { dataTypeOfWire, runSteps, setRaw } from "./controlSteps.ts";
import type { ErrandTools } from "./errand.ts";
import { LinkPace } from "./linkPace.ts";

const OPEN_MS = 8_000;
/** A camera that has just been connected may still be busy with itself. */
const BUSY_MS_MAX = 5_000;
/** Longer than any timed exposure that a camera offers; larger raw values are codes for bulb. */
const TIMED_SECONDS_MAX = 3_600;
/** ISO "automatic" in the standard's coding. */
const ISO_MAX = 0xfffe;

export type CameraLinkOptions = {
  readonly cameraId: string;
  readonly transport: Transport;
  /** How the camera is worked; when there are profiles, until it has said what it is. */
  readonly controls: CameraControls;
  /** Profiles to choose from; null or left out: the controls hold. */
  readonly profiles?: CameraProfiles | null;
  /** Left out or null: the camera's clock is left alone. */
  readonly setClock?: ClockSetting | null;
  readonly origin: ClockOrigin;
  readonly onEvent: (event: TransportEvent) => void;
  readonly onLost: (error: NightError) => void;
};

/** A described property and what it is set to now, as far as is known. */
type Described = Extract<DevicePropDesc, { kind: "described" }>;

/**
 * A connected camera: its session, what it said of itself, and its settings as they stand.
 */
export class CameraLink implements ErrandTools {
  readonly session: PtpSession;
  readonly pace = new LinkPace();
  readonly #options: CameraLinkOptions;
  readonly #clock: Clock;
  #chosen: CameraControls;
  #info: DeviceInfo | null = null;
  readonly #described = new Map<number, Described>();
  /** Properties that the profile alone describes; they cannot be read. */
  readonly #assumed = new Set<number>();
  /** Raw values as last read; a property that changed by itself is dropped from here. */
  readonly #current = new Map<number, PtpValue>();

  constructor(options: CameraLinkOptions) {
    this.#options = options;
    this.#chosen = options.controls;
    this.#clock = createClock(options.origin);
    this.session = new PtpSession(options.transport, {
      onAnswer: (operation, answer) => {
        // Operations that move the shutter take the camera's time, not the link's.
        if (PLAIN_OPERATIONS.includes(operation.code)) {
          this.pace.noteRoundTrip(answer.answeredMs - answer.sentMs);
        }
      },
    });
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
      await runSteps(this.session, this.#chosen.connectSteps, { busyMsMax: BUSY_MS_MAX });
      // Some bodies say only now what they can do.
      this.#info = await this.session.getDeviceInfo({ busyMsMax: BUSY_MS_MAX });
    }
    for (const control of this.#controls()) await this.#describe(control.propertyCode);
    await this.#describe(imageSize.code);
    for (const control of this.#numberControls()) this.#assume(control);
  }

  /** How this camera is worked. */
  get controls(): CameraControls {
    return this.#chosen;
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
    return operationOfCode(this.controls.bulb?.openOperation, OPERATIONS.InitiateOpenCapture);
  }

  get closeOperation(): Operation {
    return operationOfCode(this.controls.bulb?.closeOperation, OPERATIONS.TerminateOpenCapture);
  }

  /** Timed exposures that can be set, seconds, ascending. */
  get exposureLadderSeconds(): readonly number[] {
    const { timedSteps, exposureTime } = this.controls;
    if (timedSteps === null && !this.can(OPERATIONS.InitiateCapture.code)) return [];
    return this.#ladder(exposureTime).filter((seconds) => seconds <= TIMED_SECONDS_MAX);
  }

  /** The strings and numbers that a photographer should see; measures the camera's clock, too. */
  async describe(): Promise<CameraDescription> {
    const { cameraId } = this.#options;
    const { controls } = this;
    const info = this.#info;
    const isoLadder = this.#ladder(controls.iso).filter((iso) => iso <= ISO_MAX);
    const iso = this.settingOf(controls.iso);
    return {
      cameraId,
      label: `${info?.manufacturer ?? ""} ${info?.model ?? ""}`.trim() || "a camera without a name",
      serialNumber: info?.serialNumber ?? "",
      profileId: controls.profileId,
      isoLadder,
      fixedIso: isoLadder.length === 0 && iso !== null && iso <= ISO_MAX ? iso : null,
      fNumberLadder: this.#ladder(controls.fNumber),
      exposureLadderSeconds: this.exposureLadderSeconds,
      hasBulb: this.hasBulb,
      iso,
      fNumber: this.settingOf(controls.fNumber),
      program: this.#stateOf(controls.program, "other"),
      focus: this.#stateOf(controls.focus, "automatic"),
      ...(await this.#lookAtClock()),
      facts: {
        noiseReduction: this.#wordOf(controls.noiseReduction),
        imageFormat: this.#wordOf(controls.imageFormat),
        focalLengthMm: this.settingOf(controls.focalLengthMm),
        imageWidthPx: imageWidthOf(this.#current.get(imageSize.code)),
      },
    };
  }

  /** The number that a property stands at, as last read; null: not known. */
  settingOf(control: NumberControl | null): number | null {
    if (control === null) return null;
    const raw = this.#current.get(control.propertyCode);
    return typeof raw === "number" ? valueOf(raw, control.coding) : null;
  }

  /** A property changed by itself: its value is read anew before it is needed. */
  noteChange(propertyCode: number): void {
    this.#current.delete(propertyCode);
  }

  /**
   * Brings a property to the settable value nearest to the wanted one, if it is not there.
   *
   * @returns what the camera made of it, read back; null when it has no such property. What a
   *   maker's own operation has set cannot always be read back, and is then believed.
   */
  async setTo(control: NumberControl | null, wanted: number): Promise<number | null> {
    const described = control ? this.#described.get(control.propertyCode) : undefined;
    if (!control || !described) return null;
    const raw = this.#nearestRaw(control, described, wanted);
    const code = control.propertyCode;
    if (raw === null) await this.#refresh(described);
    else if (this.#current.get(code) !== raw) {
      try {
        this.#current.set(code, await this.#send(control, described, raw));
      } catch (thrown) {
        // A refused value costs the wish, not the frame: what is set instead is told.
        if (!(thrown instanceof NightError && thrown.code === "ptp.response")) throw thrown;
        this.noteChange(code);
        await this.#refresh(described);
      }
    }
    return this.settingOf(control);
  }

  async #send(control: NumberControl, described: Described, raw: number): Promise<PtpValue> {
    const { propertyCode: code, setThrough } = control;
    const { dataType } = described;
    if (!setThrough) return await this.session.setProperty(code, dataType, raw);
    await setRaw(this.session, { propertyCode: code, dataType, raw, setThrough });
    const isReadable = this.#info?.devicePropertiesSupported.includes(code) ?? false;
    return isReadable ? await this.session.getProperty(code, dataType) : raw;
  }

  async readNumber(propertyCode: number): Promise<number | null> {
    const described = this.#described.get(propertyCode);
    if (!described) return null;
    const raw = await this.session.getProperty(propertyCode, described.dataType);
    return typeof raw === "number" ? raw : null;
  }

  /** Battery in percent of the range that the camera declares; null: not readable. */
  async readBatteryPercent(): Promise<number | null> {
    const { battery } = this.controls;
    const described = battery ? this.#described.get(battery.propertyCode) : undefined;
    if (!battery || !described) return null;
    const level = await this.readNumber(battery.propertyCode);
    const levels = legalValues(described.form).filter((value) => typeof value === "number");
    const lowest = levels.length > 0 ? Math.min(...levels) : 0;
    const highest = levels.length > 0 ? Math.max(...levels) : 100;
    if (level === null || highest <= lowest) return null;
    return Math.round((100 * (level - lowest)) / (highest - lowest));
  }

  async #refresh(described: Described): Promise<void> {
    if (this.#current.has(described.code) || this.#assumed.has(described.code)) return;
    const raw = await this.session.getProperty(described.code, described.dataType);
    this.#current.set(described.code, raw);
  }

  #controls(): { readonly propertyCode: number }[] {
    const { battery, program, focus, dateTime, noiseReduction, imageFormat } = this.controls;
    const others = [battery, program, focus, dateTime, noiseReduction, imageFormat];
    return [...this.#numberControls(), ...others.filter((control) => control !== null)];
  }

  #numberControls(): NumberControl[] {
    const { exposureTime, iso, fNumber, focalLengthMm } = this.controls;
    return [exposureTime, iso, fNumber, focalLengthMm].filter((control) => control !== null);
  }

  /** A property that the camera does not describe is what its profile says. */
  #assume({ propertyCode: code, assumed }: NumberControl): void {
    if (!assumed || this.#described.has(code)) return;
    this.#assumed.add(code);
    this.#described.set(code, {
      kind: "described",
      code,
      dataType: dataTypeOfWire(assumed.dataType),
      isSettable: true,
      factoryDefault: 0,
      current: 0,
      form: { kind: "enumeration", values: assumed.values },
    });
  }

  async #describe(code: number): Promise<void> {
    if (!this.#info?.devicePropertiesSupported.includes(code)) return;
    try {
      const desc = await this.session.describeProperty(code, { busyMsMax: BUSY_MS_MAX });
      if (desc.kind !== "described" || desc.code !== code) return;
      this.#described.set(code, desc);
      this.#current.set(code, desc.current);
    } catch (thrown) {
      // Some cameras list properties that they then do not have, or describe them brokenly.
      const isTheirs = thrown instanceof NightError && PROPERTY_FAULTS.includes(thrown.code);
      if (!isTheirs) throw thrown;
    }
  }

  #ladder(control: NumberControl | null): readonly number[] {
    const described = control ? this.#described.get(control.propertyCode) : undefined;
    if (!control || !described?.isSettable) return [];
    const values = legalValues(described.form).flatMap((raw) =>
      typeof raw === "number" ? (valueOf(raw, control.coding) ?? []) : [],
    );
    return [...new Set(values)].sort((a, b) => a - b);
  }

  #nearestRaw(control: NumberControl, described: Described, wanted: number): number | null {
    if (!described.isSettable) return null;
    const ladder = this.#ladder(control);
    const away = (value: number): number => Math.abs(Math.log2(value / wanted));
    const nearest = ladder.reduce<number>(
      (best, value) => (away(value) < away(best) ? value : best),
      ladder[0] ?? wanted,
    );
    return rawOf(nearest, control.coding);
  }

  #stateOf<T extends string>(control: StateControl | null, otherwise: T): "manual" | T | "unknown" {
    const raw = control ? this.#current.get(control.propertyCode) : undefined;
    if (control === null || raw === undefined || raw === 0) return "unknown";
    const isManual = raw === control.manualCode || control.alsoManual?.includes(raw as number);
    return isManual ? "manual" : otherwise;
  }

  #wordOf<W extends string>(control: WordControl<W> | null): W | "unknown" {
    const raw = control ? this.#current.get(control.propertyCode) : undefined;
    return control?.codes.find(({ code }) => code === raw)?.word ?? "unknown";
  }

  /** Measures the camera's clock; sets it first when that was asked for and it is off. */
  async #lookAtClock(): Promise<Pick<CameraDescription, "clockOffsetMs" | "clockWasOffMs">> {
    const { dateTime } = this.controls;
    const described = dateTime ? this.#described.get(dateTime.propertyCode) : undefined;
    if (!described) return { clockOffsetMs: null };
    const camera = { session: this.session, clock: this.#clock, described };
    const offsetMs = await measureClockOffset(camera);
    const { setClock } = this.#options;
    if (!setClock || offsetMs === null || !isWorthSetting(offsetMs, setClock)) {
      return { clockOffsetMs: offsetMs };
    }
    const wasSet = await trySetClock(camera, setClock);
    if (!wasSet) return { clockOffsetMs: offsetMs };
    return { clockOffsetMs: await measureClockOffset(camera), clockWasOffMs: offsetMs };
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

/** Width of "6000x4000"; null for anything else. */
function imageWidthOf(size: PtpValue | undefined): number | null {
  const width = typeof size === "string" ? /^(\d+)x\d+$/i.exec(size)?.[1] : undefined;
  return width === undefined ? null : Number(width);
}

const PROPERTY_FAULTS: readonly string[] = ["ptp.response", "ptp.truncated", "camera.busy"];

const PLAIN_OPERATIONS: readonly number[] = [
  OPERATIONS.GetDeviceInfo.code,
  OPERATIONS.GetDevicePropDesc.code,
  OPERATIONS.GetDevicePropValue.code,
  OPERATIONS.GetObjectInfo.code,
];

function operationOfCode(code: number | undefined, standard: Operation): Operation {
  if (code === undefined || code === standard.code) return standard;
  return { ...standard, code, name: `${standard.name} (0x${code.toString(16)})` };
}
