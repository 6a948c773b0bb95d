import { NightError } from "../../core/errors.ts";
import {
  legalValues,
  type DevicePropDesc,
  type PropertyForm,
} from "../../core/ptp/datasets/devicePropDesc.ts";
import type { DeviceInfo } from "../../core/ptp/datasets/deviceInfo.ts";
import type { PtpValue } from "../../core/ptp/dataTypes.ts";
import * as property from "../../core/ptp/properties.ts";
import {
  rawOf,
  valueOf,
  type CameraControls,
  type ControlStep,
  type NumberControl,
  type StateControl,
  type ValueCoding,
  type WordControl,
} from "../../core/profiles/cameraControls.ts";
import type { PtpSession } from "../cameras/ptpSession.ts";
import type { OperationAnswer } from "../cameras/transport.ts";
import { pauseFor } from "../timing/clock.ts";
import { dataTypeOfWire, runSteps, setRaw } from "./controlSteps.ts";

/** A described property and what it is set to now, as far as is known. */
type Described = Extract<DevicePropDesc, { kind: "described" }>;

/** How often and when a setting that did not come is looked at again; judgement, no source. */
const LATE_LOOKS = 2;
const LATE_PAUSE_MS = 250;
/** After so many in a row a setting counts as the camera's own. */
const KEPT_MIN = 2;
/** Faults of a camera that lists properties which it does not have, or describes them brokenly. */
export const PROPERTY_FAULTS: readonly string[] = ["ptp.response", "ptp.truncated", "camera.busy"];

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
  /** Properties that a profile's steps wrote and nobody has read since. */
  readonly #believed = new Set<number>();
  /** How often in a row a setting was answered with OK and stayed as it was. */
  readonly #kept = new Map<number, number>();

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
    for (const code of [...codes, property.imageSize.code]) await this.#describe(code, busyMsMax);
    for (const control of this.#numberControls()) this.#assume(control);
  }

  /** How the camera is worked from now on; its properties are the same. */
  use(controls: CameraControls): void {
    this.#controls = controls;
  }

  /** What the camera said of a property; undefined: it has none. */
  describedAs(control: { readonly propertyCode: number } | null): Described | undefined {
    return control ? this.#described.get(control.propertyCode) : undefined;
  }

  /** The width of a picture as it is set now; null: not known. */
  get imageWidthPx(): number | null {
    return property.imageSize.decode(this.#current.get(property.imageSize.code))?.widthPx ?? null;
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
    this.#believed.delete(propertyCode);
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
    // What changed by itself may stand where it is wanted: reading is cheaper than setting.
    await this.#refresh(described);
    if (raw === null) return this.settingOf(control);
    const before = this.#current.get(code);
    if (before !== raw) {
      try {
        this.#current.set(code, plainOf(await this.#send(control, described, raw)));
        this.#believed.delete(code);
        await this.#awaitLate(control, described, { raw, before });
      } catch (thrown) {
        // A refused value costs the wish, not the frame: what is set instead is reported.
        if (!(thrown instanceof NightError && thrown.code === "ptp.response")) throw thrown;
        this.noteChange(code);
        await this.#refresh(described);
      }
    }
    return this.settingOf(control);
  }

  /**
   * Sets a setting to what it is. Bodies take no setting while they expose, as far as they follow the
   * protocol's DeviceBusy; one that takes it says little, one that is busy says much.
   *
   * @returns "unknown": there is nothing that can be set, or the camera refuses for another reason.
   */
  async tryASetting(): Promise<"taken" | "busy" | "unknown"> {
    const { iso, fNumber, exposureTime } = this.#controls;
    for (const control of [iso, fNumber, exposureTime]) {
      const described = this.describedAs(control);
      const raw = control ? this.#current.get(control.propertyCode) : undefined;
      if (!control || !described?.isSettable || typeof raw !== "number") continue;
      try {
        await this.#send(control, described, raw);
        return "taken";
      } catch (thrown) {
        if (!(thrown instanceof NightError) || thrown.code === "camera.gone") throw thrown;
        if (thrown.code === "camera.busy") return "busy";
      }
    }
    return "unknown";
  }

  /**
   * A value that stands where it stood may still be on its way: it is read again after a while. What
   * stays for good is a setting that the camera keeps to itself.
   */
  async #awaitLate(
    { propertyCode: code, setThrough }: NumberControl,
    described: Described,
    { raw, before }: { readonly raw: number; readonly before: PtpValue | undefined },
  ): Promise<void> {
    const isBelieved = setThrough !== undefined && !this.#supported.includes(code);
    if (isBelieved || before === undefined) return;
    for (let look = 0; look < LATE_LOOKS && this.#current.get(code) === before; look += 1) {
      await pauseFor(this.#session.time, LATE_PAUSE_MS);
      this.noteChange(code);
      await this.#refresh(described);
    }
    const isKept = this.#current.get(code) === before && before !== raw;
    this.#kept.set(code, isKept ? (this.#kept.get(code) ?? 0) + 1 : 0);
  }

  /** Whether the camera answers that it takes a setting, and keeps the one that it has. */
  keeps(control: NumberControl | null): boolean {
    return control !== null && (this.#kept.get(control.propertyCode) ?? 0) >= KEPT_MIN;
  }

  /** A dial moved: what the camera kept to itself it may take now. */
  reconsider(): void {
    this.#kept.clear();
  }

  async #send(control: NumberControl, described: Described, raw: number): Promise<PtpValue> {
    const { propertyCode: code, setThrough } = control;
    const { dataType } = described;
    if (!setThrough) {
      const value = typeof dataType.empty === "bigint" ? BigInt(raw) : raw;
      return await this.#session.setProperty(code, dataType, value);
    }
    await setRaw(this.#session, { propertyCode: code, dataType, raw, setThrough });
    const isReadable = this.#supported.includes(code);
    return isReadable ? await this.#session.getProperty(code, dataType) : raw;
  }

  /**
   * Takes a profile's steps; the settings that they write are known from then on, and one that
   * stands where a step wants it is not written again.
   */
  async runSteps(
    steps: readonly ControlStep[],
    options: Parameters<typeof runSteps>[2] = {},
  ): Promise<OperationAnswer> {
    const due: ControlStep[] = [];
    for (const step of steps) {
      const isLast = step === steps.at(-1);
      if (isLast || !(await this.#stands(step))) due.push(step);
    }
    const written = due.flatMap((step) =>
      step.kind === "property" && this.#described.has(step.propertyCode) ? step : [],
    );
    for (const { propertyCode } of written) this.noteChange(propertyCode);
    const answer = await runSteps(this.#session, due, options);
    for (const { propertyCode, value } of written) {
      this.#current.set(propertyCode, value);
      this.#believed.add(propertyCode);
    }
    return answer;
  }

  /** Whether a step would write what the camera was seen to have; what cannot be read never is. */
  async #stands(step: ControlStep): Promise<boolean> {
    if (step.kind !== "property") return false;
    const described = this.#described.get(step.propertyCode);
    if (!described || this.#assumed.has(described.code)) return false;
    if (this.#believed.has(described.code)) this.noteChange(described.code);
    await this.#refresh(described);
    return this.#current.get(described.code) === step.value;
  }

  /** The raw exposure time that means bulb, where the camera lists one; null: none. */
  get #bulbRaw(): number | null {
    const { exposureTime } = this.#controls;
    const described = this.describedAs(exposureTime);
    if (!exposureTime || described?.form.kind !== "enumeration") return null;
    const codes = described.form.values.flatMap((value) => {
      const raw = plainOf(value);
      return typeof raw === "number" && isBulbCode(raw, exposureTime.coding) ? raw : [];
    });
    return codes.length === 0 ? null : Math.max(...codes);
  }

  get hasBulbSpeed(): boolean {
    return this.#bulbRaw !== null;
  }

  /** Whether the exposure time, as last known, means bulb. */
  get isAtBulbSpeed(): boolean {
    const { exposureTime } = this.#controls;
    const raw = exposureTime ? this.#current.get(exposureTime.propertyCode) : undefined;
    return exposureTime !== null && typeof raw === "number" && isBulbCode(raw, exposureTime.coding);
  }

  /** Leaves bulb where it is a speed, for the shortest that can be set. */
  async leaveBulbSpeed(): Promise<void> {
    const { exposureTime } = this.#controls;
    const [shortest] = this.ladder(exposureTime);
    if (!this.isAtBulbSpeed || shortest === undefined) return;
    await this.setTo(exposureTime, shortest);
  }

  /** @returns false where the camera does not take it. */
  async setToBulbSpeed(): Promise<boolean> {
    const { exposureTime } = this.#controls;
    const described = this.describedAs(exposureTime);
    const raw = this.#bulbRaw;
    if (!exposureTime || !described?.isSettable || raw === null) return false;
    try {
      await this.#refresh(described);
      if (this.isAtBulbSpeed) return true;
      this.#current.set(described.code, plainOf(await this.#send(exposureTime, described, raw)));
    } catch (thrown) {
      if (!(thrown instanceof NightError && thrown.code === "ptp.response")) throw thrown;
      this.noteChange(described.code);
    }
    return this.isAtBulbSpeed;
  }

  /** Whether a property can be set and names no list. */
  takesAnyNumber(control: NumberControl | null): boolean {
    const described = this.describedAs(control);
    return described !== undefined && described.isSettable && described.form.kind === "none";
  }

  async readNumber(propertyCode: number): Promise<number | null> {
    const described = this.#described.get(propertyCode);
    if (!described) return null;
    const raw = plainOf(await this.#session.getProperty(propertyCode, described.dataType));
    return typeof raw === "number" ? raw : null;
  }

  /** Battery in percent of the range that the camera declares; null: not readable. */
  async readBatteryPercent(): Promise<number | null> {
    const { battery } = this.#controls;
    const described = this.describedAs(battery);
    if (!battery || !described) return null;
    const level = await this.readNumber(battery.propertyCode);
    return level === null ? null : percentOf(level, described.form);
  }

  async #refresh(described: Described): Promise<void> {
    if (this.#current.has(described.code) || this.#assumed.has(described.code)) return;
    const raw = await this.#session.getProperty(described.code, described.dataType);
    this.#current.set(described.code, plainOf(raw));
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
      if (desc.kind !== "described") return;
      // A transaction answers one question: a description under the code of no property is this one's.
      if (desc.code !== code && desc.code !== property.UNDEFINED_PROPERTY_CODE) return;
      this.#described.set(code, { ...desc, code });
      this.#current.set(code, plainOf(desc.current));
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
    const values = settableValues(described.form, control.coding).flatMap((value) => {
      const raw = plainOf(value);
      return typeof raw === "number" ? (valueOf(raw, control.coding) ?? []) : [];
    });
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
    if (isManual) return "manual";
    // Only the profile could know what a maker's own code means, and it does not.
    return isMakersState(raw) ? "unknown" : otherwise;
  }

  /** Whether a dial stands where only its maker knows what that means. */
  isAtMakersState(control: StateControl | null): boolean {
    const raw = control ? this.#current.get(control.propertyCode) : undefined;
    return isMakersState(raw) && this.stateOf(control, "other") === "unknown";
  }

  /** What a property is set to, in words. */
  wordOf<W extends string>(control: WordControl<W> | null): W | "unknown" {
    const raw = control ? this.#current.get(control.propertyCode) : undefined;
    return control?.codes.find(({ code }) => code === raw)?.word ?? "unknown";
  }
}

/** Third stops around one second and around any ISO: 2^-14 to 2^17. */
export const CONVENTIONAL_RUNGS: readonly number[] = Array.from(
  { length: 94 },
  (_, rung) => 2 ** (rung / 3 - 14),
);

/**
 * What may be set. Of a range too fine to be counted out, and of a property that takes any number,
 * the conventional third stops.
 */
function settableValues(form: PropertyForm, coding: ValueCoding): readonly PtpValue[] {
  const legal = legalValues(form);
  if (legal.length > 0 || form.kind !== "range") return legal;
  const [min, max, step] = [form.min, form.max, form.step].map(Number) as [number, number, number];
  if (!(step > 0 && max > min)) return [];
  return CONVENTIONAL_RUNGS.flatMap((value) => {
    const raw = rawOf(value, coding);
    if (raw === null || raw < min || raw > max) return [];
    return min + Math.round((raw - min) / step) * step;
  });
}

/**
 * A battery's level in percent. A range counts from its lowest, which is empty; a list of levels
 * names full with its highest and need not name empty. 0 can also mean external power, and what
 * lies outside of the form means nothing. Source: MTP 1.1, appendix C.2.2.
 */
function percentOf(level: number, form: PropertyForm): number | null {
  const levels = legalValues(form).flatMap((value) => (typeof value === "number" ? value : []));
  const highest = levels.length > 0 ? Math.max(...levels) : property.batteryLevel.max;
  const lowest = levels.length > 0 && form.kind === "range" ? Math.min(...levels) : 0;
  if (level === 0 || level < lowest || level > highest || highest <= lowest) return null;
  return Math.round((100 * (level - lowest)) / (highest - lowest));
}

/** Nothing at all, or longer than any camera's own timer runs. */
function isBulbCode(raw: number, coding: ValueCoding): boolean {
  const seconds = valueOf(raw, coding);
  return raw === 0 || (seconds !== null && seconds > property.exposureTime.max);
}

/** A 64-bit number as a plain one, where that loses nothing. */
function plainOf(value: PtpValue): PtpValue {
  if (typeof value !== "bigint") return value;
  const plain = Number(value);
  return Number.isSafeInteger(plain) ? plain : value;
}

/** In the standard's enumerations bit 15 marks a maker's own values. Source: MTP 1.1, appendix C. */
function isMakersState(raw: PtpValue | undefined): boolean {
  return typeof raw === "number" && (raw & 0x8000) !== 0;
}
