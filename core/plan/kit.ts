import * as v from "valibot";
import { SETTING_LIMITS, type LimitedSetting } from "../exposure/settingLimits.ts";
import { atan2Deg } from "../sky/angles.ts";
import { NightError } from "../errors.ts";
import { maybe, needs, number } from "../schemaParts.ts";
import type { ExposureSettings } from "../exposure/settings.ts";

/** Width and height of a class, mm. Common practice, no source; bodies differ by a few tenths. */
export const SENSOR_SIZES_MM = {
  fullFrame: [36, 24],
  crop: [23.5, 15.6],
  fourThirds: [17.3, 13],
  oneInch: [13.2, 8.8],
} as const;

/** Classes of sensor by size; the trade's own words. */
export type SensorClass = keyof typeof SENSOR_SIZES_MM;

const SENSOR_CLASSES = Object.keys(SENSOR_SIZES_MM) as SensorClass[];

/**
 * A kit as the photographer describes it; what is left out is derived or a common value, and the
 * numbers are judged by `resolveKit`.
 */
export const kitInputSchema = v.object(
  {
    name: v.string("Give the kit a name."),
    sensorClass: v.picklist(
      SENSOR_CLASSES,
      `The sensor class must be one of ${SENSOR_CLASSES.join(", ")}.`,
    ),
    /** Of the full-size frame; either this or the image width is enough. */
    pixelPitchUm: maybe(number("The pixel pitch")),
    imageWidthPx: maybe(number("The image width")),
    focalLengthMm: number("The focal length"),
    /** Smallest f-number of the lens. */
    fNumberWidest: number("The widest aperture"),
    /** Above this the noise is not worth it to this photographer. */
    isoComfortMax: maybe(number("The ISO cap")),
    /** Energy of one charged battery, Wh, and what camera and screen draw, W. */
    batteryWh: maybe(number("The battery")),
    cameraWatts: maybe(number("The camera's draw")),
    /** Room on the card, bytes. */
    cardBytes: maybe(number("The card")),
    /** Of one frame as it is written to the card; left out: from the pixel count (raw, 14 bit). */
    bytesPerFrame: maybe(number("A frame's size")),
    /** Time after an exposure before the next may begin, seconds. */
    busySeconds: maybe(number("The camera's busy time")),
  },
  needs("A kit"),
);

export type KitInput = Readonly<v.InferOutput<typeof kitInputSchema>>;

/** A kit with every number known. */
export type Kit = {
  readonly name: string;
  readonly sensorClass: SensorClass;
  readonly sensorWidthMm: number;
  readonly sensorHeightMm: number;
  readonly imageWidthPx: number;
  readonly imageHeightPx: number;
  readonly pixelPitchUm: number;
  readonly focalLengthMm: number;
  readonly fNumberWidest: number;
  readonly isoComfortMax: number;
  readonly batteryWh: number;
  readonly cameraWatts: number;
  readonly cardBytes: number;
  readonly bytesPerFrame: number;
  readonly busySeconds: number;
};

/** A wide lens on a full frame of 24 million pixels: what the plan assumes when no kit is named. */
export const DEFAULT_KIT_INPUT: KitInput = {
  name: "Wide lens on a full frame",
  sensorClass: "fullFrame",
  pixelPitchUm: 6,
  focalLengthMm: 16,
  fNumberWidest: 2.8,
};

/** Common practice, no source. */
const USUAL = {
  imageWidthPx: 6000,
  isoComfortMax: 6400,
  batteryWh: 16,
  cameraWatts: 3.5,
  cardBytes: 128e9,
  busySeconds: 1,
} as const;

/** A raw file of 14 bits a pixel, without loss made a little over half as big. Common practice, no source. */
const RAW_BITS = 14;
const RAW_PACKING = 0.6;

/**
 * Every number of a kit from its description.
 *
 * A pixel pitch wins over an image width that contradicts it.
 *
 * @throws NightError `settings.invalid` with one sentence naming the number that cannot be: a lens
 *   of 0 mm, a kit without a name.
 */
export function resolveKit(input: KitInput): Kit {
  const name = input.name.trim();
  if (name === "") throw invalid("Give the kit a name.");
  const size = SENSOR_SIZES_MM[input.sensorClass] as readonly [number, number] | undefined;
  if (size === undefined) {
    const classes = SENSOR_CLASSES.join(", ");
    throw invalid(
      `The sensor class must be one of ${classes}, not "${String(input.sensorClass)}".`,
    );
  }
  const [sensorWidthMm, sensorHeightMm] = size;
  const imageWidth = checked(
    "The image width",
    input.imageWidthPx ?? USUAL.imageWidthPx,
    "pixels",
    {
      from: 640,
      to: 40_000,
    },
  );
  const pixelPitchUm = limited(
    "pixelPitchUm",
    input.pixelPitchUm ?? (sensorWidthMm * 1000) / imageWidth,
  );
  const imageWidthPx = Math.round((sensorWidthMm * 1000) / pixelPitchUm);
  const imageHeightPx = Math.round((sensorHeightMm * 1000) / pixelPitchUm);
  const { isoComfortMax, batteryWh, cameraWatts, cardBytes, busySeconds } = {
    ...USUAL,
    ...known(input),
  };
  return {
    name,
    sensorClass: input.sensorClass,
    sensorWidthMm,
    sensorHeightMm,
    imageWidthPx,
    imageHeightPx,
    pixelPitchUm,
    focalLengthMm: limited("focalLengthMm", input.focalLengthMm),
    fNumberWidest: limited("fNumber", input.fNumberWidest, "The widest aperture"),
    isoComfortMax: limited("isoMax", isoComfortMax),
    batteryWh: checked("The battery", batteryWh, "Wh", { from: 0.1, to: 10_000 }),
    cameraWatts: checked("The camera's draw", cameraWatts, "W", { from: 0.05, to: 500 }),
    cardBytes: checked("The card", cardBytes, "bytes", { from: 1e6, to: 1e15 }),
    bytesPerFrame: checked(
      "A frame's size",
      input.bytesPerFrame ??
        Math.round(((imageWidthPx * imageHeightPx * RAW_BITS) / 8) * RAW_PACKING),
      "bytes",
      { from: 1000, to: 1e10 },
    ),
    busySeconds: limited("busySeconds", busySeconds),
  };
}

/** The same without entries that are undefined, so that they do not cover the usual values. */
function known(input: KitInput): Partial<Pick<Kit, keyof typeof USUAL & keyof Kit>> {
  return Object.fromEntries(Object.entries(input).filter(([, value]) => value !== undefined));
}

function limited(setting: LimitedSetting, value: number, what?: string): number {
  const { name, min, max, unit } = SETTING_LIMITS[setting];
  return checked(what ?? name, value, unit, { from: min, to: max });
}

function checked(
  what: string,
  value: number,
  unit: string,
  { from, to }: { from: number; to: number },
): number {
  if (Number.isFinite(value) && value >= from && value <= to) return value;
  const range = `from ${from} to ${to} ${unit}`.trim();
  throw invalid(`${what} must be ${range}, not ${value}.`);
}

function invalid(sentence: string): NightError {
  return new NightError("settings.invalid", sentence);
}

/** Angle of view across and up the frame of a rectilinear lens, degrees. */
export function fieldOfViewDeg(kit: Kit): {
  readonly widthDeg: number;
  readonly heightDeg: number;
} {
  const angle = (sizeMm: number): number => 2 * atan2Deg(sizeMm / 2, kit.focalLengthMm);
  return { widthDeg: angle(kit.sensorWidthMm), heightDeg: angle(kit.sensorHeightMm) };
}

/**
 * The kit that a watch was set to, for a night that was started without a plan: lens, pixel pitch
 * and ISO cap are the watch's own, the rest is the usual kit's.
 */
export function kitOfSettings(settings: ExposureSettings): KitInput {
  return {
    ...DEFAULT_KIT_INPUT,
    name: "the watch's own settings",
    pixelPitchUm: settings.pixelPitchUm ?? DEFAULT_KIT_INPUT.pixelPitchUm,
    focalLengthMm: settings.focalLengthMm,
    fNumberWidest: settings.fNumber,
    isoComfortMax: settings.isoMax,
    busySeconds: settings.busySeconds,
  };
}
