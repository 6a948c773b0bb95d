import { NightError } from "../../core/errors.ts";
import { legalValues, type DevicePropDesc } from "../../core/ptp/datasets/devicePropDesc.ts";
import type { DeviceInfo } from "../../core/ptp/datasets/deviceInfo.ts";
import type { PtpValue } from "../../core/ptp/dataTypes.ts";
import { imageSize } from "../../core/ptp/properties.ts";
import {
  rawOf,
  valueOf,
  type CameraControls,
  type NumberControl,
  type StateControl,
  type WordControl,
} from "../../core/profiles/cameraControls.ts";
import type { PtpSession } from "../cameras/ptpSession.ts";
import { dataTypeOfWire, setRaw } from "./controlSteps.ts";

/** A described property and what it is set to now, as far as is known. */
type Described = Extract<DevicePropDesc, { kind: "described" }>;

/** Faults of a camera that lists properties which it does not have, or describes them brokenly. */
const PROPERTY_FAULTS: readonly string[] = ["ptp.response", "ptp.truncated", "camera.busy"];

/** The properties of a connected camera: what each can be set to, and what it is set to now. */
export class CameraProperties {
  readonly #session: PtpSession;
  #controls: CameraControls;
  #supported: readonly number[] = [];
  readonly #described = new Map<number, Described>();
  /** Properties that the profile alone describes; they cannot be read. */
  readonly #assumed = new Set<number>();
  /** Raw values as last read; a property that changed by itself is dropped from here. */
  readonly #current = new Map<number, PtpValue>();

  /** @param controls  How the camera is worked until `learn` says more. */
  constructor(session: PtpSession, controls: CameraControls) {
    this.#session = session;
    this.#controls = controls;
  }

  /** Asks the camera for every property that it is worked by. */
  async learn(
    { devicePropertiesSupported }: DeviceInfo,
    controls: CameraControls,
    busyMsMax: number,
  ): Promise<void> {
    this.#supported = devicePropertiesSupported;
    this.#controls = controls;
    const codes = this.#usedControls().map(({ propertyCode }) => propertyCode);
    for (const code of [...codes, imageSize.code]) await this.#describe(code, busyMsMax);
    for (const control of this.#numberControls()) this.#assume(control);
  }

  /** What the camera said of a property; undefined: it has none. */
  describedAs(control: { readonly propertyCode: number } | null): Described | undefined {
    return control ? this.#described.get(control.propertyCode) : undefined;
  }

  /** The width of a picture as it is set now; null: not known. */
  get imageWidthPx(): number | null {
    return imageWidthOf(this.#current.get(imageSize.code));
  }

  /** The number that a property stands at, as last read; null: not known. */
  settingOf(control: NumberControl | null): number | null {
    if (control === null) return null;
    const raw = this.#current.get(control.propertyCode);
    return typeof raw === "number" ? valueOf(raw, control.coding) : null;
  }

  /** A property changed by itself: its value is read again before it is needed. */
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
    const described = this.describedAs(control);
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
    if (!setThrough) return await this.#session.setProperty(code, dataType, raw);
    await setRaw(this.#session, { propertyCode: code, dataType, raw, setThrough });
    const isReadable = this.#supported.includes(code);
    return isReadable ? await this.#session.getProperty(code, dataType) : raw;
  }

  async readNumber(propertyCode: number): Promise<number | null> {
    const described = this.#described.get(propertyCode);
    if (!described) return null;
    const raw = await this.#session.getProperty(propertyCode, described.dataType);
    return typeof raw === "number" ? raw : null;
  }

  /** Battery in percent of the range that the camera declares; null: not readable. */
  async readBatteryPercent(): Promise<number | null> {
    const { battery } = this.#controls;
    const described = this.describedAs(battery);
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
    const raw = await this.#session.getProperty(described.code, described.dataType);
    this.#current.set(described.code, raw);
  }

  #usedControls(): { readonly propertyCode: number }[] {
    const { battery, program, focus, dateTime, noiseReduction, imageFormat } = this.#controls;
    const others = [battery, program, focus, dateTime, noiseReduction, imageFormat];
    return [...this.#numberControls(), ...others.filter((control) => control !== null)];
  }

  #numberControls(): NumberControl[] {
    const { exposureTime, iso, fNumber, focalLengthMm } = this.#controls;
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

  async #describe(code: number, busyMsMax: number): Promise<void> {
    if (!this.#supported.includes(code)) return;
    try {
      const desc = await this.#session.describeProperty(code, { busyMsMax });
      if (desc.kind !== "described" || desc.code !== code) return;
      this.#described.set(code, desc);
      this.#current.set(code, desc.current);
    } catch (thrown) {
      // Some cameras list properties that they then do not have, or describe them brokenly.
      const isTheirs = thrown instanceof NightError && PROPERTY_FAULTS.includes(thrown.code);
      if (!isTheirs) throw thrown;
    }
  }

  /** What a property can be set to, ascending; empty: it cannot be set. */
  ladder(control: NumberControl | null): readonly number[] {
    const described = this.describedAs(control);
    if (!control || !described?.isSettable) return [];
    const values = legalValues(described.form).flatMap((raw) =>
      typeof raw === "number" ? (valueOf(raw, control.coding) ?? []) : [],
    );
    return [...new Set(values)].sort((a, b) => a - b);
  }

  #nearestRaw(control: NumberControl, described: Described, wanted: number): number | null {
    if (!described.isSettable) return null;
    const ladder = this.ladder(control);
    const away = (value: number): number => Math.abs(Math.log2(value / wanted));
    const nearest = ladder.reduce<number>(
      (best, value) => (away(value) < away(best) ? value : best),
      ladder[0] ?? wanted,
    );
    return rawOf(nearest, control.coding);
  }

  /** Whether a state is set as the night needs it. */
  stateOf<T extends string>(control: StateControl | null, otherwise: T): "manual" | T | "unknown" {
    const raw = control ? this.#current.get(control.propertyCode) : undefined;
    if (control === null || raw === undefined || raw === 0) return "unknown";
    const isManual = raw === control.manualCode || control.alsoManual?.includes(raw as number);
    return isManual ? "manual" : otherwise;
  }

  /** What a property is set to, in words. */
  wordOf<W extends string>(control: WordControl<W> | null): W | "unknown" {
    const raw = control ? this.#current.get(control.propertyCode) : undefined;
    return control?.codes.find(({ code }) => code === raw)?.word ?? "unknown";
  }
}

/** Width of "6000x4000"; null for anything else. */
function imageWidthOf(size: PtpValue | undefined): number | null {
  const width = typeof size === "string" ? /^(\d+)x\d+$/i.exec(size)?.[1] : undefined;
  return width === undefined ? null : Number(width);
}
