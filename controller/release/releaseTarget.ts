/** A control line of a serial port that a program may raise and lower. */
export type ControlLine = "dtr" | "rts";

/** A serial control line that works an optocoupler or a relay. */
export type SerialRelease = {
  readonly kind: "serial";
  readonly path: string;
  /** The line that closes the release contact. */
  readonly line: ControlLine;
  /** The level at which the contact is closed; "low" suits inverted wiring and is less safe. */
  readonly closedAt: "high" | "low";
  /** The line that closes the half-press contact; null: there is none. */
  readonly halfLine: ControlLine | null;
  /** How long the half-press precedes the release, milliseconds. */
  readonly halfPressMs: number;
};

/** A relay on USB, worked by HID reports. */
export type HidRelease = {
  readonly kind: "hid";
  readonly vendorId: number;
  readonly productId: number;
  /** Which kind of report the relay listens to. */
  readonly reportKind: "output" | "feature";
  /** Whole reports, the report's id first. */
  readonly closeReport: readonly number[];
  readonly openReport: readonly number[];
};

/** A release contact and how it is worked; plain data, so that it travels to the owner process. */
export type ReleaseTarget = SerialRelease | HidRelease;

/** How a release contact is named to the photographer. */
export function releaseLabel(target: ReleaseTarget): string {
  if (target.kind === "hid") return `HID relay ${hex(target.vendorId)}:${hex(target.productId)}`;
  return `${target.line.toUpperCase()} of ${target.path}`;
}

/** Said whenever a release contact is opened. */
export const RELEASE_CAUTIONS: readonly string[] = [
  "Release contact: keep it galvanically isolated (optocoupler or relay), put no foreign voltage on it, follow the camera maker's manual, and try it with the bench check before the night.",
];

/** Said beside it where the contact hangs on a serial port. */
export function serialCautions(target: SerialRelease): readonly string[] {
  const opening =
    "Opening a serial port raises DTR and RTS for a moment: a camera that is already connected may take one frame.";
  const low =
    "With this polarity the contact cannot open by itself when the whole program is killed; the other polarity is safer.";
  return target.closedAt === "low" ? [opening, low] : [opening];
}

function hex(value: number): string {
  return value.toString(16).padStart(4, "0");
}
