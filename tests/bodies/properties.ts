import { ByteSink, ByteSource } from "./bytes.ts";
import { DATATYPE, PROPERTY, RESPONSE, type Width } from "./codes.ts";
import {
  EIGHTHS,
  exposureCodec,
  isoCodec,
  isoLadder,
  secondsLadder,
  wireLadder,
  type Codec,
} from "./ladders.ts";
import { MAKERS } from "./maker.ts";
import type { Traits } from "./switches.ts";

type Form = "enumeration" | "range" | "none";

/** One property: its type, its legal values and what it holds. */
export type Property = {
  readonly code: number;
  readonly type: Width | "text";
  readonly isWritable: boolean;
  readonly form: Form;
  /** Enumeration: the values; range: minimum, maximum, step. */
  readonly values: readonly bigint[];
  current: bigint | string;
};

const AUTO_ISO = 0xffffn;
/** From memory, not tried on hardware. */
const EIGHTHS_BULB = 0x0cn;
const FIRST_SECONDS = 1 / 60;
const FIRST_ISO = 400;
/** What the body exposes with where no property tells an ISO, or where it chooses by itself. */
export const SILENT_ISO = 1600;
const APERTURES = [2.8, 3.5, 4, 5.6, 8];
const LENS_F_NUMBER = 2.8;

/** The settings of a body, what they mean in seconds and ISO, and their datasets. */
export class Properties {
  readonly #traits: Traits;
  readonly #list = new Map<number, Property>();
  readonly exposureCode: number;
  readonly isoCode: number;
  readonly programCode = PROPERTY.exposureProgram;
  readonly #exposure: Codec;
  readonly #iso: Codec;
  readonly #fNumber: Codec;
  readonly #fNumberCode: number;
  /** The exposure time that means bulb, cut to the width of its field. */
  readonly #bulb: bigint | null;
  #batteryReads = 0;

  constructor(traits: Traits) {
    this.#traits = traits;
    const maker = MAKERS[traits.maker];
    this.exposureCode = maker.codes.exposure;
    this.isoCode = maker.codes.iso;
    this.#fNumberCode = maker.codes.fNumber;
    this.#exposure = maker.isInEighths ? EIGHTHS.seconds : exposureCodec(traits.exposureUnit);
    this.#iso = maker.isInEighths ? EIGHTHS.iso : isoCodec;
    this.#fNumber = maker.isInEighths
      ? EIGHTHS.fNumber
      : { encode: (n) => BigInt(Math.round(n * 100)), decode: (wire) => Number(wire) / 100 };
    const { bulbValue, exposureWidth } = traits;
    this.#bulb =
      bulbValue === null || traits.exposureForm === "absent"
        ? null
        : maker.isInEighths
          ? EIGHTHS_BULB
          : BigInt.asUintN(exposureWidth, bulbValue);
    this.#addExposure();
    this.#addIso();
    this.#addFNumber();
    this.#addRest();
  }

  get codes(): readonly number[] {
    return [...this.#list.keys()];
  }

  get(code: number): Property | undefined {
    return this.#list.get(code);
  }

  /** Whether the exposure time stands at the value that means bulb. */
  get isAtBulb(): boolean {
    return this.#bulb !== null && this.get(this.exposureCode)?.current === this.#bulb;
  }

  get exposureSeconds(): number {
    const current = this.get(this.exposureCode)?.current;
    return typeof current === "bigint" ? this.#exposure.decode(current) : FIRST_SECONDS;
  }

  get iso(): number {
    const current = this.get(this.isoCode)?.current;
    if (typeof current !== "bigint" || current === AUTO_ISO) return SILENT_ISO;
    return this.#iso.decode(current);
  }

  get fNumber(): number {
    const current = this.get(this.#fNumberCode)?.current;
    const reported = typeof current === "bigint" ? this.#fNumber.decode(current) : LENS_F_NUMBER;
    return reported > 0 ? reported : LENS_F_NUMBER;
  }

  /** A value that the host wrote: what answer it gets, what the property then holds. */
  set(code: number, bytes: Buffer): number {
    const property = this.get(code);
    if (!property) return RESPONSE.propertyNotSupported;
    if (!property.isWritable) return RESPONSE.accessDenied;
    if (property.type === "text") {
      property.current = new ByteSource(bytes).text();
      return RESPONSE.ok;
    }
    if (bytes.length * 8 !== property.type) return RESPONSE.invalidPropertyFormat;
    const value = new ByteSource(bytes).uint(property.type);
    if (!isLegal(property, value)) return RESPONSE.invalidPropertyValue;
    const isStuckAuto = code === this.isoCode && this.#traits.isoAuto === "stuck";
    if (isStuckAuto) return RESPONSE.accessDenied;
    property.current = this.#settled(property, value);
    return RESPONSE.ok;
  }

  /** Turns a dial by hand: past what the host may do. */
  turn(code: number, value: bigint): void {
    const property = this.get(code);
    if (property) property.current = value;
  }

  /** The rung a stop away from the current one, for a hand on the dial. */
  neighbour(code: number): bigint | undefined {
    const property = this.get(code);
    if (property?.form !== "enumeration") return undefined;
    const at = property.values.indexOf(property.current as bigint);
    return property.values[Math.max(0, at - 3)];
  }

  /** The bare value, as GetDevicePropValue sends it. */
  value(property: Property): Buffer {
    return writeValue(new ByteSink(), property, this.#read(property)).bytes();
  }

  /** The description, as GetDevicePropDesc sends it, in the way this body gets it wrong. */
  description(property: Property): Buffer {
    const { description } = this.#traits;
    const isOdd = description === "oddForm" && property.code === PROPERTY.whiteBalance;
    const sink = new ByteSink()
      .u16(description === "wrongCode" ? 0x5000 : property.code)
      .u16(DATATYPE[property.type])
      .u8(property.isWritable ? 1 : 0);
    const current = this.#read(property);
    writeValue(writeValue(sink, property, current), property, current);
    if (isOdd) return sink.u8(7).raw(Buffer.from("beef", "hex")).bytes();
    if (description === "cutTail" && property.code === PROPERTY.whiteBalance) return sink.bytes();
    if (property.form === "none") sink.u8(0);
    else {
      sink.u8(property.form === "range" ? 1 : 2);
      if (property.form === "enumeration") sink.u16(property.values.length);
      for (const value of property.values) writeValue(sink, property, value);
    }
    if (description === "extraTail") sink.raw(Buffer.from("0000c0de", "hex"));
    return sink.bytes();
  }

  #read(property: Property): bigint | string {
    const { battery, clock } = this.#traits;
    if (property.code === PROPERTY.batteryLevel && battery.kind === "there") {
      const at = Math.min(this.#batteryReads, battery.current.length - 1);
      this.#batteryReads += 1;
      return BigInt(battery.current[at]!);
    }
    if (property.code === PROPERTY.dateTime && clock) return clockText(clock);
    return property.current;
  }

  /** What a body makes of a legal value. */
  #settled(property: Property, value: bigint): bigint {
    const { setting } = this.#traits;
    if (setting === "ignored" && property.code === this.exposureCode) {
      return property.current as bigint;
    }
    if (setting !== "snaps" || property.form !== "enumeration" || value === this.#bulb) {
      return value;
    }
    // A lens or a mode that has every other rung only: the one below serves.
    const at = property.values.indexOf(value);
    return property.values[at - (at % 2)] ?? value;
  }

  #addExposure(): void {
    const { exposureForm, exposureLadder, exposureWidth } = this.#traits;
    if (exposureForm === "absent") return;
    const width = MAKERS[this.#traits.maker].isInEighths ? 8 : exposureWidth;
    const ladder = wireLadder(
      secondsLadder(exposureLadder),
      this.#exposure,
      width,
      exposureLadder === 0,
    );
    const bulb = this.#bulb === null ? [] : [this.#bulb];
    const first = this.#exposure.encode(exposureLadder === 0 ? 0.5 : FIRST_SECONDS);
    this.#add({
      code: this.exposureCode,
      type: width,
      ...formed(exposureForm, [...ladder, ...bulb], 1n),
      current: nearest(ladder, first),
    });
  }

  #addIso(): void {
    const { isoForm, isoLadder: rungs, isoWidth, isoAuto } = this.#traits;
    if (isoForm === "absent") return;
    const width = MAKERS[this.#traits.maker].isInEighths ? 8 : isoWidth;
    const ladder = wireLadder(isoLadder(rungs), this.#iso, width, rungs === 0);
    const auto = isoAuto === "no" || width === 8 ? [] : [AUTO_ISO];
    const isOn = auto.length > 0 && (isoAuto === "on" || isoAuto === "stuck");
    this.#add({
      code: this.isoCode,
      type: width,
      ...formed(isoForm, [...ladder, ...auto], 1n),
      current: isOn ? AUTO_ISO : nearest(ladder, this.#iso.encode(FIRST_ISO)),
    });
  }

  #addFNumber(): void {
    const { fNumber } = this.#traits;
    if (fNumber === "absent") return;
    const isZero = fNumber === "zero";
    const width = MAKERS[this.#traits.maker].isInEighths ? 8 : 16;
    this.#add({
      code: this.#fNumberCode,
      type: width,
      ...formed(
        fNumber === "readOnly" || isZero ? "readOnly" : fNumber,
        isZero ? [0n] : APERTURES.map(this.#fNumber.encode),
        1n,
      ),
      current: isZero ? 0n : this.#fNumber.encode(LENS_F_NUMBER),
    });
  }

  #addRest(): void {
    const { battery, clock, program } = this.#traits;
    if (battery.kind === "there") {
      const { form, values } = battery;
      const current = BigInt(battery.current[0]!);
      this.#add({
        code: PROPERTY.batteryLevel,
        type: 8,
        isWritable: false,
        form,
        values: values.map(BigInt),
        current,
      });
    }
    if (program) {
      this.#add({
        code: PROPERTY.exposureProgram,
        type: 16,
        isWritable: program.isWritable,
        form: "enumeration",
        values: [1n, 2n, 3n, 4n, 0x8001n, 0x8010n],
        current: BigInt(program.code),
      });
    }
    if (clock) {
      this.#add({
        code: PROPERTY.dateTime,
        type: "text",
        isWritable: true,
        form: "none",
        values: [],
        current: "",
      });
    }
    this.#add({
      code: PROPERTY.whiteBalance,
      type: 16,
      isWritable: true,
      form: "enumeration",
      values: [2n, 4n, 6n],
      current: 4n,
    });
  }

  #add(property: Property): void {
    this.#list.set(property.code, property);
  }
}

function formed(
  form: Traits["exposureForm"],
  values: readonly bigint[],
  step: bigint,
): Pick<Property, "isWritable" | "form" | "values"> {
  if (form === "range") {
    const sorted = [...values].sort((a, b) => (a < b ? -1 : 1));
    return { isWritable: true, form: "range", values: [sorted[0]!, sorted.at(-1)!, step] };
  }
  if (form === "none") return { isWritable: true, form: "none", values: [] };
  return { isWritable: form !== "readOnly", form: "enumeration", values };
}

function isLegal(property: Property, value: bigint): boolean {
  if (property.form === "none") return true;
  if (property.form === "enumeration") return property.values.includes(value);
  const [low, high, step] = property.values;
  return value >= low! && value <= high! && (value - low!) % step! === 0n;
}

function nearest(ladder: readonly bigint[], value: bigint): bigint {
  const away = (rung: bigint): bigint => (rung > value ? rung - value : value - rung);
  return ladder.reduce((best, rung) => (away(rung) < away(best) ? rung : best), ladder[0] ?? value);
}

function writeValue(sink: ByteSink, property: Property, value: bigint | string): ByteSink {
  return property.type === "text"
    ? sink.text(String(value))
    : sink.uint(property.type, BigInt(value));
}

/** The camera's clock as a date and time text. Source: MTP 1.1, §3.2.5. */
export function clockText(clock: NonNullable<Traits["clock"]>): string {
  if (clock.suffix === "?") return "yesterday";
  const { offsetMs, suffix } = clock;
  const zoneMs = suffix === "+0200" ? 2 * 3600 * 1000 : 0;
  const iso = new Date(Date.now() + offsetMs + zoneMs).toISOString();
  return iso.slice(0, 19).replaceAll(/[-:]/g, "") + suffix;
}
