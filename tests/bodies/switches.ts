// Everything that can differ between two bodies. A body picks one setting of each switch; what the
// setting means stands here as numbers, and the responder knows no body by name.
import { RESPONSE, type Width } from "./codes.ts";

const S = 1000;

/** What an InitiateOpenCapture comes to. */
type OpenCapture =
  | { readonly kind: "absent" }
  | { readonly kind: "works" }
  | { readonly kind: "refused"; readonly response: number }
  | { readonly kind: "onlyAtBulbProgram" }
  | { readonly kind: "onlyAtBulbSpeed" }
  | { readonly kind: "busyFirst"; readonly times: number }
  | { readonly kind: "endsItself"; readonly afterMs: number };

/** What an InitiateCapture comes to. */
type Capture = "absent" | "works" | "refusedAtBulb" | "opensAtBulb" | "refused";

type Form = "enumeration" | "range" | "none" | "readOnly" | "absent";

type Battery =
  | { readonly kind: "absent" }
  | {
      readonly kind: "there";
      readonly form: "range" | "enumeration" | "none";
      readonly values: readonly number[];
      /** Read in turn, the last for ever. */
      readonly current: readonly number[];
    };

type Store = { readonly id: number; readonly freeBytes: bigint; readonly freeImages: number };
const ROOMY: Omit<Store, "id"> = { freeBytes: 64_000_000_000n, freeImages: 4000 };
const FULL: Omit<Store, "id"> = { freeBytes: 0n, freeImages: 0 };

const stores = (...list: readonly Store[]): readonly Store[] => list;
const battery = (value: Battery): Battery => value;
const openCapture = (value: OpenCapture): OpenCapture => value;
const widths = { u16: 16, u32: 32, u64: 64 } as const satisfies Record<string, Width>;
const forms = {
  enumeration: "enumeration",
  range: "range",
  none: "none",
  readOnly: "readOnly",
  absent: "absent",
} as const satisfies Record<string, Form>;

export const SWITCHES = {
  vendor: {
    none: 0,
    "0x06": 6,
    "0xffffffff": 0xffffffff,
    "0x0a": 0x0a,
    "0x0b": 0x0b,
    "0x0e": 0x0e,
    "0x11": 0x11,
    "0x1b": 0x1b,
  },
  /** A maker's own operations, from memory, not tried on hardware; see `maker.ts`. */
  maker: { none: "none", records: "records", queue: "queue", blocks: "blocks" },
  openCapture: {
    absent: openCapture({ kind: "absent" }),
    works: openCapture({ kind: "works" }),
    denied: openCapture({ kind: "refused", response: RESPONSE.accessDenied }),
    failing: openCapture({ kind: "refused", response: RESPONSE.generalError }),
    invalid: openCapture({ kind: "refused", response: RESPONSE.invalidParameter }),
    atBulbProgram: openCapture({ kind: "onlyAtBulbProgram" }),
    atBulbSpeed: openCapture({ kind: "onlyAtBulbSpeed" }),
    busyTwice: openCapture({ kind: "busyFirst", times: 2 }),
    endsItself: openCapture({ kind: "endsItself", afterMs: 0.1 * S }),
  },
  capture: {
    absent: "absent",
    works: "works",
    refusedAtBulb: "refusedAtBulb",
    opensAtBulb: "opensAtBulb",
    refused: "refused",
  } as const satisfies Record<string, Capture>,
  /** The exposure time that means bulb, among the others; null: none does. */
  bulbValue: { none: null, allOnes: 0xffffffffn, zero: 0n, justBelow: 0xfffffffen },
  /** The exposure program as the dial has it. Codes above 0x8000 are a maker's own. */
  program: {
    manual: { code: 0x0001, isWritable: false },
    manualWritable: { code: 0x0001, isWritable: true },
    makersManual: { code: 0x8001, isWritable: false },
    makersBulb: { code: 0x8010, isWritable: false },
    aperture: { code: 0x0003, isWritable: false },
    automatic: { code: 0x0002, isWritable: true },
    absent: null,
  },
  exposureWidth: widths,
  /** Units of the exposure time in a second; a fraction is numerator << 16 | denominator. */
  exposureUnit: {
    tenthMs: { kind: "ticks", perSecond: 10_000 },
    milliseconds: { kind: "ticks", perSecond: 1000 },
    microseconds: { kind: "ticks", perSecond: 1_000_000 },
    fraction: { kind: "fraction" },
  } as const,
  exposureForm: forms,
  /** Rungs in a stop; nonsense has no order, doubles, a zero and a giant. */
  exposureLadder: { thirds: 3, halves: 2, whole: 1, nonsense: 0 },
  isoWidth: widths,
  isoForm: forms,
  isoLadder: { thirds: 3, halves: 2, whole: 1, nonsense: 0 },
  isoAuto: { no: "no", offered: "offered", on: "on", stuck: "stuck" },
  fNumber: {
    enumeration: "enumeration",
    range: "range",
    readOnly: "readOnly",
    zero: "zero",
    absent: "absent",
  },
  battery: {
    percent: battery({ kind: "there", form: "range", values: [0, 100, 1], current: [77] }),
    quarters: battery({
      kind: "there",
      form: "enumeration",
      values: [25, 50, 75, 100],
      current: [50],
    }),
    lowQuarter: battery({
      kind: "there",
      form: "enumeration",
      values: [25, 50, 75, 100],
      current: [25],
    }),
    fifths: battery({ kind: "there", form: "range", values: [0, 5, 1], current: [3] }),
    bare: battery({ kind: "there", form: "none", values: [], current: [64] }),
    external: battery({ kind: "there", form: "range", values: [0, 100, 1], current: [0] }),
    lying: battery({
      kind: "there",
      form: "range",
      values: [0, 100, 1],
      current: [90, 3, 255, 0, 90],
    }),
    absent: battery({ kind: "absent" }),
  },
  /** The camera's clock beside the true time; null: no such property. */
  clock: {
    right: { offsetMs: 0, suffix: "" },
    hourSlow: { offsetMs: -3600 * S, suffix: "" },
    zoned: { offsetMs: 0, suffix: "+0200" },
    century: { offsetMs: -26 * 365.25 * 86_400 * S, suffix: "" },
    nonsense: { offsetMs: 0, suffix: "?" },
    absent: null,
  },
  store: {
    one: stores({ id: 0x00010001, ...ROOMY }),
    firstFull: stores({ id: 0x00010001, ...FULL }, { id: 0x00020001, ...ROOMY }),
    secondFull: stores({ id: 0x00010001, ...ROOMY }, { id: 0x00020001, ...FULL }),
    emptySlot: stores({ id: 0x00010000, ...FULL }, { id: 0x00020001, ...ROOMY }),
    unknownSpace: stores({ id: 0x00010001, freeBytes: 0xffffffffn, freeImages: 0xffffffff }),
  },
  /** First handle, step, and whether every session counts from the first again. */
  handles: {
    rising: { first: 1, step: 1, restarts: false },
    restarted: { first: 1, step: 1, restarts: true },
    high: { first: 0x91000001, step: 16, restarts: false },
    falling: { first: 0x7fffffff, step: -3, restarts: false },
  },
  naming: { rising: "rising", equal: "equal", long: "long", path: "path", empty: "empty" },
  /** Files of one exposure, in the order in which they are reported. */
  files: {
    jpeg: ["jpeg"],
    rawJpeg: ["raw", "jpeg"],
    jpegRaw: ["jpeg", "raw"],
    raw: ["raw"],
    dng: ["dng"],
    heif: ["heif"],
  } as const,
  /** From the shutter's closing to the file on the card; null: it never comes. */
  arrivalMs: { soon: 150, second: 1 * S, threeSeconds: 3 * S, never: null },
  thumb: {
    "160": { kind: "px", px: 160 },
    "320": { kind: "px", px: 320 },
    "640": { kind: "px", px: 640 },
    refused: { kind: "refused", response: RESPONSE.noThumbnail },
    failing: { kind: "refused", response: RESPONSE.generalError },
    absent: { kind: "absent" },
  } as const,
  picturePx: { "160": 160, "1024": 1024, "1620": 1620, "6000": 6000 },
  partial: { works: "works", absent: "absent", refused: "refused", short: "short", lying: "lying" },
  /** The size that an object's description tells. */
  objectSize: { honest: "honest", unknown: "unknown", zero: "zero", doubled: "doubled" },
  /** How much of an object really comes. */
  objectBytes: { whole: 1, cut: 0.4 },
  events: {
    prompt: "prompt",
    none: "none",
    late: "late",
    twice: "twice",
    completeFirst: "completeFirst",
    noComplete: "noComplete",
    unreported: "unreported",
  },
  /** The transaction that an event carries. */
  eventTransaction: { own: "own", zero: "zero", ones: "ones", stale: "stale" },
  /** What becomes of a setting that the host writes. */
  setting: {
    exact: "exact",
    snaps: "snaps",
    ignored: "ignored",
    slow: "slow",
    announced: "announced",
  },
  /** A hand on a dial while the third frame is stored. */
  dial: {
    still: "still",
    shutter: "shutter",
    iso: "iso",
    toBulb: "toBulb",
    toAperture: "toAperture",
  },
  /** Time that the body takes for an answer, and the size of what it writes to the wire at once. */
  pace: {
    quick: { answerMs: 0, pieceBytes: null, bytesPerSecond: null },
    steady: { answerMs: 25, pieceBytes: null, bytesPerSecond: null },
    slow: { answerMs: 180, pieceBytes: null, bytesPerSecond: null },
    trickle: { answerMs: 0, pieceBytes: 7, bytesPerSecond: null },
    thinLink: { answerMs: 20, pieceBytes: null, bytesPerSecond: 250_000 },
  },
  /** Until a body takes a new connection after one was closed. */
  rearm: {
    atOnce: { afterMs: 0, manner: "busy", keepsSession: false },
    second: { afterMs: 1 * S, manner: "hangUp", keepsSession: false },
    fourSeconds: { afterMs: 4 * S, manner: "busy", keepsSession: false },
    keepsSession: { afterMs: 0, manner: "busy", keepsSession: true },
  },
  busy: {
    never: { afterFrameMs: 0, whileExposing: false, everyNth: 0 },
    afterFrame: { afterFrameMs: 1.5 * S, whileExposing: false, everyNth: 0 },
    long: { afterFrameMs: 6 * S, whileExposing: true, everyNth: 0 },
    whileExposing: { afterFrameMs: 0, whileExposing: true, everyNth: 0 },
    nowAndThen: { afterFrameMs: 0, whileExposing: false, everyNth: 4 },
  },
  ids: {
    right: "right",
    staleAnswer: "staleAnswer",
    doubleAnswer: "doubleAnswer",
    wrongAnswer: "wrongAnswer",
  },
  exif: { full: "full", noDate: "noDate", noIso: "noIso", bare: "bare", lying: "lying" },
  info: {
    plain: "plain",
    doubles: "doubles",
    promises: "promises",
    blank: "blank",
    wordy: "wordy",
  },
  description: {
    plain: "plain",
    cutTail: "cutTail",
    extraTail: "extraTail",
    wrongCode: "wrongCode",
    oddForm: "oddForm",
  },
  refusalData: { none: "none", empty: "empty" },
  greeting: { plain: "plain", noVersion: "noVersion", noName: "noName", longName: "longName" },
  probes: { none: null, every2s: 2 * S, every500ms: 500 },
  folders: { flat: "flat", dcf: "dcf", loop: "loop" },
} as const;

export type SwitchName = keyof typeof SWITCHES;
export const SWITCH_NAMES = Object.keys(SWITCHES) as readonly SwitchName[];

/** What a body's settings come to, as the responder reads them. */
export type Traits = {
  readonly [Name in SwitchName]: (typeof SWITCHES)[Name][keyof (typeof SWITCHES)[Name]];
};
