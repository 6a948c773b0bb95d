/** How a number travels in a property: times a factor, or by a table of codes. */
export type ValueCoding =
  | { readonly kind: "scale"; readonly perUnit: number }
  | {
      readonly kind: "table";
      readonly entries: readonly { readonly code: number; readonly value: number }[];
    };

/** A property that holds a number, and how. */
export type NumberControl = { readonly propertyCode: number; readonly coding: ValueCoding };

/** A property that holds one of a few states, of which one is wanted. */
export type StateControl = {
  readonly propertyCode: number;
  readonly manualCode: number;
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
  readonly dateTime: { readonly propertyCode: number } | null;
  /** Operations that begin and end an open-ended exposure; null: no bulb. */
  readonly bulb: {
    readonly openOperation: number;
    readonly closeOperation: number;
    /** Whether closing names the transaction that opened, as the standard's operation does. */
    readonly closeNamesOpening: boolean;
  } | null;
  /** Exposures shorter than this are left to the camera's own timer, seconds. */
  readonly timedBelowSeconds: number;
  /**
   * Measured difference of a bulb exposure from the time between the answer to opening and the
   * sending of closing, real milliseconds; null: not measured, the link's round trip stands in.
   */
  readonly bulbExcessMs: number | null;
  /** First pause between attempts while the camera is busy, real milliseconds; it grows slowly. */
  readonly busyPollMs: number;
  /**
   * How long a busy camera is asked again before the order fails, real milliseconds, beyond the time
   * of the exposure before it: a camera that takes a dark frame is busy for as long again.
   */
  readonly busyMsMax: number;
  /** A camera that has not told of a frame's file so long after closing is asked, night milliseconds. */
  readonly fileGraceMs: number;
  /** JPEG files up to this size are fetched whole as their own preview. */
  readonly wholeJpegBytesMax: number;
};

/**
 * A camera that follows the standard alone.
 * Sources: codes, units and values of the MTP 1.1 text, appendices C and D, which repeat ISO 15740;
 * two seconds from a host-timed jitter of 20 ms being 1 % there; the rest by judgement.
 */
export const STANDARD_CONTROLS: CameraControls = {
  profileId: "standard",
  exposureTime: { propertyCode: 0x500d, coding: { kind: "scale", perUnit: 10_000 } },
  iso: { propertyCode: 0x500f, coding: { kind: "scale", perUnit: 1 } },
  fNumber: { propertyCode: 0x5007, coding: { kind: "scale", perUnit: 100 } },
  battery: { propertyCode: 0x5001 },
  program: { propertyCode: 0x500e, manualCode: 1 },
  focus: { propertyCode: 0x500a, manualCode: 1 },
  dateTime: { propertyCode: 0x5011 },
  bulb: { openOperation: 0x101c, closeOperation: 0x1018, closeNamesOpening: true },
  timedBelowSeconds: 2,
  bulbExcessMs: null,
  busyPollMs: 5,
  busyMsMax: 10_000,
  fileGraceMs: 4_000,
  wholeJpegBytesMax: 6 * 1024 * 1024,
};

/** The number that a property's raw value stands for; null when the coding does not know it. */
export function valueOf(raw: number, coding: ValueCoding): number | null {
  if (coding.kind === "scale") return raw > 0 ? raw / coding.perUnit : null;
  return coding.entries.find((entry) => entry.code === raw)?.value ?? null;
}

/** The raw value to send for a number; null when the coding has none for it. */
export function rawOf(value: number, coding: ValueCoding): number | null {
  if (coding.kind === "scale") return Math.round(value * coding.perUnit);
  return coding.entries.find((entry) => entry.value === value)?.code ?? null;
}
