/** How a number travels in a property. Raw values are what the wire carries. */
export type ValueCoding =
  /** raw = value × perUnit. */
  | { readonly kind: "scale"; readonly perUnit: number }
  | {
      readonly kind: "table";
      readonly entries: readonly { readonly code: number; readonly value: number }[];
    }
  /** Numerator in the upper 16 bits of an unsigned 32-bit value, denominator in the lower. */
  | { readonly kind: "rational" }
  /** value = unit × 2^((raw − zeroRaw) / perStop); a negative perStop counts the other way. */
  | {
      readonly kind: "exponential";
      readonly unit: number;
      readonly zeroRaw: number;
      readonly perStop: number;
    };

/** Data types that a profile may name for a raw value. */
export type WireType = "uint8" | "uint16" | "uint32" | "int8" | "int16" | "int32";

/** A maker's own operation that sets a property. */
export type SetThrough = {
  readonly operation: number;
  /**
   * "value": the property's code is the parameter, the value the data, as in the standard.
   * "record": no parameter; the data are length, code and value, 32 bits each.
   */
  readonly layout: "value" | "record";
};

/** A property that holds a number, and how. */
export type NumberControl = {
  readonly propertyCode: number;
  readonly coding: ValueCoding;
  /** Left out: SetDevicePropValue. */
  readonly setThrough?: SetThrough;
  /** What can be set where the camera does not describe the property: its type and raw values. */
  readonly assumed?: { readonly dataType: WireType; readonly values: readonly number[] };
};

/** A property that holds one of a few states, of which one is wanted. */
export type StateControl = {
  readonly propertyCode: number;
  readonly manualCode: number;
  /** More codes that mean the same, as a manual program and bulb do. */
  readonly alsoManual?: readonly number[];
};

/** A property whose codes are named words. */
export type WordControl<W extends string> = {
  readonly propertyCode: number;
  readonly codes: readonly { readonly code: number; readonly word: W }[];
};

/** One thing to say to the camera while the shutter is opened or closed. */
export type ControlStep =
  | {
      readonly kind: "operation";
      readonly operation: number;
      readonly parameters: readonly (number | "openingTransaction")[];
    }
  | {
      readonly kind: "property";
      readonly propertyCode: number;
      readonly dataType: WireType;
      readonly value: number;
      readonly setThrough?: SetThrough;
    }
  /** Real milliseconds. */
  | { readonly kind: "pause"; readonly pauseMs: number };

/** Where a frame's picture is looked for, in this order. */
export type PreviewSource =
  /** The file itself, when it is a JPEG of moderate size. */
  | "moderateJpeg"
  | "thumbnail"
  /** The file itself, when it is a JPEG of any size. */
  | "anyJpeg"
  /** The largest JPEG inside a raw file. */
  | "embeddedJpeg";

/** A camera that has to be asked for its events. */
export type EventPoll = {
  readonly operation: number;
  /** Real milliseconds between two questions. */
  readonly everyMs: number;
  /** How the answer lies: see `eventRecords.ts`. */
  readonly layout: "countedPairs" | "sizedRecords";
};

/** Deviations that code knows how to meet. */
export const QUIRK_IDS = [
  /** Every new file is named by the same handle. */
  "reusedHandle",
] as const;
type QuirkId = (typeof QUIRK_IDS)[number];

/** One point of a camera's tone curve. */
export type TonePoint = {
  /** Light, stops from any one light that is the same for all points. */
  readonly lightStops: number;
  /** What it is rendered to, 0..255, fractions allowed. */
  readonly code: number;
};

/**
 * What the program must know of a camera to work it: which property holds what, how the shutter is
 * timed, where previews come from. Plain data: it travels to the timing thread, and a hardware
 * profile fills it. A null control means that the camera has no such property.
 */
export type CameraControls = {
  readonly profileId: string;
  readonly exposureTime: NumberControl | null;
  readonly iso: NumberControl | null;
  readonly fNumber: NumberControl | null;
  readonly battery: { readonly propertyCode: number } | null;
  readonly program: StateControl | null;
  readonly focus: StateControl | null;
  readonly noiseReduction: WordControl<"off" | "on"> | null;
  readonly imageFormat: WordControl<"raw" | "rawAndJpeg" | "jpeg"> | null;
  readonly focalLengthMm: NumberControl | null;
  readonly dateTime: { readonly propertyCode: number } | null;
  /** Said once after connecting, before anything is asked. */
  readonly connectSteps: readonly ControlStep[];
  /** Operations that begin and end an open-ended exposure; null: no bulb. */
  readonly bulb: {
    readonly openOperation: number;
    readonly closeOperation: number;
    /** Whether closing names the transaction that opened, as the standard's operation does. */
    readonly closeNamesOpening: boolean;
    /** In place of the one operation, where a maker's way takes several. */
    readonly openSteps?: readonly ControlStep[];
    readonly closeSteps?: readonly ControlStep[];
  } | null;
  /** In place of InitiateCapture, for exposures by the camera's own timer; null: InitiateCapture. */
  readonly timedSteps: readonly ControlStep[] | null;
  /** Exposures shorter than this are left to the camera's own timer, seconds. */
  readonly timedBelowSeconds: number;
  /**
   * Measured difference of a bulb exposure from the time between the answer to opening and the
   * sending of closing, real milliseconds; null: not measured, the link's round trip stands in.
   */
  readonly bulbExcessMs: number | null;
  /** Pause between attempts while the camera says that it is busy, real milliseconds. */
  readonly busyPollMs: number;
  /** How long a busy camera is asked again before the order fails, night milliseconds. */
  readonly busyMsMax: number;
  /** A camera that has not reported a frame's file so long after closing is asked, real milliseconds. */
  readonly fileGraceMs: number;
  /** Rest that a changed setting needs before the shutter may open, real milliseconds. */
  readonly settleMs: number;
  /** JPEG files up to this size are fetched whole as their own preview. */
  readonly wholeJpegBytesMax: number;
  readonly previewOrder: readonly PreviewSource[];
  /** The maker's events that name a new file, beside the standard's. */
  readonly objectAddedEvents: readonly number[];
  /** The maker's events that say that a frame is done, beside the standard's. */
  readonly captureDoneEvents: readonly number[];
  readonly eventPoll: EventPoll | null;
  readonly quirks: readonly QuirkId[];
  /** How it renders light, light rising; null: not known, the night's own frames teach it. */
  readonly toneCurve: readonly TonePoint[] | null;
};

/** The number that a property's raw value stands for; null when the coding does not know it. */
export function valueOf(raw: number, coding: ValueCoding): number | null {
  switch (coding.kind) {
    case "scale":
      return raw > 0 ? raw / coding.perUnit : null;
    case "table":
      return coding.entries.find((entry) => entry.code === raw)?.value ?? null;
    case "rational": {
      const [numerator, denominator] = [Math.floor(raw / 65536) % 65536, raw % 65536];
      return numerator > 0 && denominator > 0 ? numerator / denominator : null;
    }
    case "exponential":
      return coding.unit * 2 ** ((raw - coding.zeroRaw) / coding.perStop);
  }
}

/** The raw value to send for a number; null when the coding has none for it. */
export function rawOf(value: number, coding: ValueCoding): number | null {
  switch (coding.kind) {
    case "scale":
      return Math.round(value * coding.perUnit);
    case "table":
      return coding.entries.find((entry) => entry.value === value)?.code ?? null;
    case "rational":
      return rationalOf(value);
    case "exponential":
      return value > 0
        ? Math.round(coding.zeroRaw + coding.perStop * Math.log2(value / coding.unit))
        : null;
  }
}

/** Cameras name short times as 1/n and long ones in tenths; both fit 16 bits within reason. */
function rationalOf(value: number): number | null {
  if (!(value > 0) || value > 6553) return null;
  const [numerator, denominator] = value < 0.3 ? [1, 1 / value] : [value * 10, 10];
  const packed = Math.round(numerator) * 65536 + Math.round(denominator);
  return Math.round(denominator) < 65536 ? packed : null;
}
