import { NightError } from "../errors.ts";
import { string, uint16, uint32, uint8, type DataType, type PtpValue } from "./dataTypes.ts";

/** A device property, declared once: where it is, and what its raw values mean. */
type Property<T, W extends PtpValue = PtpValue> = {
  readonly code: number;
  readonly name: string;
  /** The standard's data type; a device's own description outranks it. */
  readonly dataType: DataType<W>;
  /**
   * The meaning of a raw value of whatever type the device declared.
   * @throws NightError `ptp.malformed` when the value is of another kind (a string for a number).
   */
  decode(raw: PtpValue): T;
  /** The raw value for a meaning, rounded to what the wire can say. */
  encode(value: T): W;
};

function property<T, W extends PtpValue>(declared: Property<T, W>): Property<T, W> {
  return declared;
}

/** A property whose numbers are names of choices; unknown numbers keep their number. */
function choice<const C extends Readonly<Record<string, number>>>(
  code: number,
  name: string,
  choices: C,
): Property<Choice<C>, number> {
  const names = new Map(Object.entries(choices).map(([key, value]) => [value, key]));
  return property({
    code,
    name,
    dataType: uint16,
    decode: (raw) => {
      const value = numberOf(raw, name);
      const known = names.get(value);
      return known === undefined ? { kind: "unknown", value } : { kind: known as keyof C & string };
    },
    encode: (value): number => ("value" in value ? value.value : (choices[value.kind] as number)),
  });
}

/** One of a property's named choices, or a maker's own. */
type Choice<C> =
  { readonly kind: keyof C & string } | { readonly kind: "unknown"; readonly value: number };

function scaled(
  code: number,
  name: string,
  dataType: DataType<number>,
  unitsPerOne: number,
): Property<number, number> {
  return property({
    code,
    name,
    dataType,
    decode: (raw) => numberOf(raw, name) / unitsPerOne,
    encode: (value) => Math.round(value * unitsPerOne),
  });
}

// Codes, types and units below: MTP 1.1 App. C.

/** 0 empty … 100 full, percent where the device's range is 0..100; 0 may mean mains power. */
export const batteryLevel = scaled(0x5001, "BatteryLevel", uint8, 1);

/** 0 standard, 1 sleep. */
export const functionalMode = choice(0x5002, "FunctionalMode", { standard: 0, sleep: 1 });

/** Width x height, as in "6000x4000". */
export const imageSize = property<string, string>({
  code: 0x5003,
  name: "ImageSize",
  dataType: string,
  decode: (raw) => textOf(raw, "ImageSize"),
  encode: (value) => value,
});

/** Relative: larger is better quality. */
const compressionSetting = scaled(0x5004, "CompressionSetting", uint8, 1);

/** How the device finds its white; manual goes by RGBGain. */
const whiteBalance = choice(0x5005, "WhiteBalance", {
  undefined: 0,
  manual: 1,
  automatic: 2,
  onePushAutomatic: 3,
  daylight: 4,
  fluorescent: 5,
  tungsten: 6,
  flash: 7,
});

/** f-number; on the wire × 100. */
export const fNumber = scaled(0x5007, "FNumber", uint16, 100);

/** Millimetres; on the wire × 100. The text says 35 mm equivalent; devices differ. */
export const focalLength = scaled(0x5008, "FocalLength", uint32, 100);

/** Millimetres; 0xFFFF is infinity (decoded so, since the wire ends at 65.5 m). */
export const focusDistance = property<number, number>({
  code: 0x5009,
  name: "FocusDistance",
  dataType: uint16,
  decode: (raw) => {
    const millimetres = numberOf(raw, "FocusDistance");
    return millimetres === 0xffff ? Infinity : millimetres;
  },
  encode: (millimetres) => Math.min(0xffff, Math.round(millimetres)),
});

/** Who focuses. */
export const focusMode = choice(0x500a, "FocusMode", {
  undefined: 0,
  manual: 1,
  automatic: 2,
  automaticMacro: 3,
});

/**
 * Exposure time in seconds; on the wire in 0.1 ms. Times that do not divide (1/60 s) come back
 * rounded, so a device's own raw value is what to send back.
 */
export const exposureTime = scaled(0x500d, "ExposureTime", uint32, 10_000);

/** Who chooses aperture and time. */
export const exposureProgramMode = choice(0x500e, "ExposureProgramMode", {
  undefined: 0,
  manual: 1,
  automatic: 2,
  aperturePriority: 3,
  shutterPriority: 4,
  creative: 5,
  action: 6,
  portrait: 7,
});

/** ISO sensitivity, or the device's own choice (0xFFFF). ISO ≥ 65 535 cannot be said. */
export const exposureIndex = property<
  { readonly kind: "iso"; readonly iso: number } | { readonly kind: "automatic" },
  number
>({
  code: 0x500f,
  name: "ExposureIndex",
  dataType: uint16,
  decode: (raw) => {
    const iso = numberOf(raw, "ExposureIndex");
    return iso === 0xffff ? { kind: "automatic" } : { kind: "iso", iso };
  },
  encode: (value) => (value.kind === "automatic" ? 0xffff : Math.round(value.iso)),
});

/** The device's clock, a DateTime string (see dateTime.ts). */
export const dateTimeProperty = property<string, string>({
  code: 0x5011,
  name: "DateTime",
  dataType: string,
  decode: (raw) => textOf(raw, "DateTime"),
  encode: (value) => value,
});

/** Seconds from trigger to capture; on the wire in ms. */
const captureDelay = scaled(0x5012, "CaptureDelay", uint32, 1000);

/** What one InitiateCapture takes. */
export const stillCaptureMode = choice(0x5013, "StillCaptureMode", {
  undefined: 0,
  normal: 1,
  burst: 2,
  timelapse: 3,
});

/** Every property declared above. */
export const PROPERTIES = [
  batteryLevel,
  functionalMode,
  imageSize,
  compressionSetting,
  whiteBalance,
  fNumber,
  focalLength,
  focusDistance,
  focusMode,
  exposureTime,
  exposureProgramMode,
  exposureIndex,
  dateTimeProperty,
  captureDelay,
  stillCaptureMode,
] as const;

const NAMES: ReadonlyMap<number, string> = new Map(
  PROPERTIES.map((declared) => [declared.code, declared.name]),
);

/** The property's name, or its number: devices invent codes. */
export function propertyName(code: number): string {
  return NAMES.get(code) ?? `property 0x${code.toString(16).padStart(4, "0")}`;
}

/** Whether a code is in the form of a device property at all, a maker's own included. */
export function isPropertyCode(code: number): boolean {
  return code <= 0xffff && (code & 0x7000) === 0x5000;
}

function numberOf(raw: PtpValue, name: string): number {
  if (typeof raw === "number") return raw;
  if (typeof raw === "bigint") return Number(raw);
  throw new NightError("ptp.malformed", `${name} should be a number`, { raw });
}

function textOf(raw: PtpValue, name: string): string {
  if (typeof raw === "string") return raw;
  throw new NightError("ptp.malformed", `${name} should be a string`, { raw: String(raw) });
}
