import { valueOf, type ValueCoding } from "../profiles/cameraControls.ts";
import type { StandardProperties, StandardProperty } from "../profiles/resolve.ts";
import { string, uint16, uint32, uint8, type DataType, type PtpValue } from "./dataTypes.ts";
import { formatDateTime, parseDateTime, type PtpDateTime } from "./dateTime.ts";

/**
 * A property of the standard, declared once: its code and type, what its raw values mean, within
 * which bounds, and how a line of the log names it. Hardware profiles take from here what they
 * leave out; the host, the virtual camera and the log read the same declaration.
 */
type Property<D extends PtpValue, Read, Written = Read> = {
  readonly code: number;
  readonly name: string;
  /** The standard's data type; a device's own description outranks it. */
  readonly dataType: DataType<D>;
  /** What a raw value means; null: nothing that the standard declares. */
  decode(raw: PtpValue | undefined): Read | null;
  /** The raw value for a meaning, rounded to what the wire can carry. */
  encode(value: Written): D;
  /** What a raw value says, in words. */
  inWords(raw: PtpValue): string;
  /** What a hardware profile may leave out; null: nothing. */
  readonly standard: StandardProperty | null;
};

/** What a scaled property holds: raw = value × perUnit. */
type NumberProperty = Property<number, number> & {
  readonly min: number;
  readonly max: number;
};

function scaled(
  declared: Pick<Property<number, number>, "code" | "name" | "dataType">,
  means: {
    readonly perUnit: number;
    /** As it follows the number in words: " s", " %"; "" where it has none. */
    readonly unit: string;
    /** Raw values that mean less or more than these are codes, not numbers. */
    readonly min: number;
    readonly max: number;
  },
): NumberProperty {
  const { perUnit, unit, min, max } = means;
  const coding: ValueCoding = { kind: "scale", perUnit };
  const decode = (raw: PtpValue | undefined): number | null => {
    const number = numberOf(raw);
    const value = number === null ? null : valueOf(number, coding);
    return value !== null && value >= min && value <= max ? value : null;
  };
  return {
    ...declared,
    ...{ min, max, decode },
    encode: (value) => Math.round(value * perUnit),
    inWords: (raw) => {
      const value = decode(raw);
      return value === null ? rawWords(raw) : `${value}${unit}`;
    },
    standard: { kind: "number", coding },
  };
}

/** One of a property's named choices, or a maker's own. */
type Choice<C> =
  { readonly kind: keyof C & string } | { readonly kind: "unknown"; readonly value: number };

/** A property whose numbers are names of choices; unknown numbers keep their number. */
function choice<const C extends Readonly<Record<string, number>>>(
  code: number,
  name: string,
  choices: C,
): Property<number, Choice<C>> {
  const names = new Map(Object.entries(choices).map(([key, value]) => [value, key]));
  const manualCode = choices["manual"];
  return {
    ...{ code, name },
    dataType: uint16,
    decode: (raw) => {
      const value = numberOf(raw);
      if (value === null) return null;
      const known = names.get(value);
      return known === undefined ? { kind: "unknown", value } : { kind: known as keyof C & string };
    },
    encode: (value): number => ("value" in value ? value.value : (choices[value.kind] as number)),
    inWords: (raw) => names.get(numberOf(raw) ?? -1) ?? rawWords(raw),
    standard: manualCode === undefined ? null : { kind: "state", manualCode },
  };
}

/** A property whose text means something. */
function written<Read, Written>(
  code: number,
  name: string,
  meaning: {
    readonly parse: (text: string) => Read | null;
    readonly format: (value: Written) => string;
  },
): Property<string, Read, Written> {
  return {
    ...{ code, name },
    dataType: string,
    decode: (raw) => (typeof raw === "string" ? meaning.parse(raw) : null),
    encode: meaning.format,
    inWords: rawWords,
    standard: null,
  };
}

// Codes, types and units below: MTP 1.1 App. C. Bounds without a source are the type's own.

/** Charge; 0 may mean mains power, so it is no number. */
export const batteryLevel = scaled(
  { code: 0x5001, name: "BatteryLevel", dataType: uint8 },
  { perUnit: 1, unit: " %", min: 1, max: 100 },
);

/** 0 standard, 1 sleep. */
export const functionalMode = choice(0x5002, "FunctionalMode", { standard: 0, sleep: 1 });

type PictureSize = { readonly widthPx: number; readonly heightPx: number };

/** Width x height, as in "6000x4000". */
export const imageSize = written(0x5003, "ImageSize", {
  parse: (text): PictureSize | null => {
    const [, width, height] = /^(\d+)x(\d+)$/i.exec(text) ?? [];
    return width === undefined ? null : { widthPx: Number(width), heightPx: Number(height) };
  },
  format: ({ widthPx, heightPx }: PictureSize) => `${widthPx}x${heightPx}`,
});

/** f-number; a lens in air opens to f/0.5 at most, the wire ends at the other bound. */
export const fNumber = scaled(
  { code: 0x5007, name: "FNumber", dataType: uint16 },
  { perUnit: 100, unit: "", min: 0.5, max: 655.35 },
);

/** Millimetres. The text says 35 mm equivalent; devices differ. */
export const focalLength = scaled(
  { code: 0x5008, name: "FocalLength", dataType: uint32 },
  { perUnit: 100, unit: " mm", min: 0.01, max: 42_949_672.95 },
);

/** Who focuses. */
export const focusMode = choice(0x500a, "FocusMode", {
  undefined: 0,
  manual: 1,
  automatic: 2,
  automaticMacro: 3,
});

/**
 * Exposure time in seconds; on the wire in 0.1 ms. Times that do not divide (1/60 s) come back
 * rounded, so a device's own raw value is what to send back. An hour is longer than any timed
 * exposure that a camera offers: what is above it is a code for bulb (judgement, no source).
 */
export const exposureTime = scaled(
  { code: 0x500d, name: "ExposureTime", dataType: uint32 },
  { perUnit: 10_000, unit: " s", min: 0.0001, max: 3_600 },
);

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

/** ISO sensitivity; 0xFFFF is the device's own choice, so ISO 65 535 and more cannot be written. */
export const exposureIndex = scaled(
  { code: 0x500f, name: "ExposureIndex", dataType: uint16 },
  { perUnit: 1, unit: "", min: 1, max: 0xfffe },
);

/** The device's clock, as text (see dateTime.ts). */
export const dateTimeProperty = written(0x5011, "DateTime", {
  parse: parseDateTime,
  format: (moment: PtpDateTime) => formatDateTime(moment),
});

/** What one InitiateCapture takes. */
export const stillCaptureMode = choice(0x5013, "StillCaptureMode", {
  undefined: 0,
  normal: 1,
  burst: 2,
  timelapse: 3,
});

/** What some devices call a property whose description they give under another code. */
export const UNDEFINED_PROPERTY_CODE = 0x5000;

/** Every property that the program works with. */
export const PROPERTIES = [
  batteryLevel,
  functionalMode,
  imageSize,
  fNumber,
  focalLength,
  focusMode,
  exposureTime,
  exposureProgramMode,
  exposureIndex,
  dateTimeProperty,
  stillCaptureMode,
] as const;

type Declared = Pick<Property<never, never>, "name" | "inWords" | "standard">;

const BY_CODE: ReadonlyMap<number, Declared> = new Map(
  PROPERTIES.map((declared): [number, Declared] => [declared.code, declared]),
);

/** What a hardware profile may leave out of a property of the standard. */
export const STANDARD_PROPERTIES: StandardProperties = new Map(
  PROPERTIES.flatMap(({ code, standard }) =>
    standard === null ? [] : [[code, standard] satisfies [number, StandardProperty]],
  ),
);

/** The property's name, or its number: devices invent codes. */
export function propertyName(code: number): string {
  return BY_CODE.get(code)?.name ?? `property 0x${code.toString(16).padStart(4, "0")}`;
}

/** A property and its raw value as a line of the log has them, as in "ExposureTime 30 s". */
export function propertyLine(code: number, raw: PtpValue): string {
  return `${propertyName(code)} ${BY_CODE.get(code)?.inWords(raw) ?? rawWords(raw)}`;
}

function rawWords(raw: PtpValue): string {
  if (typeof raw === "string") return raw;
  return typeof raw === "object" ? `[${raw.join(", ")}]` : `raw ${raw}`;
}

function numberOf(raw: PtpValue | undefined): number | null {
  return typeof raw === "number" || typeof raw === "bigint" ? Number(raw) : null;
}
