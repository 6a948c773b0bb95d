import type { ExifFields } from "../../core/frames/exif.ts";
import { encodeXmp, type XmpFields } from "../../core/frames/xmp.ts";
import type { Framing } from "../../core/frames/keogramAxes.ts";
import type { FrameRecord } from "../../core/night/frameRecord.ts";
import { utcMs } from "../../core/units.ts";
import type { Pick } from "../archive/catalogue.ts";
import type { NightInfo } from "../archive/nightInfo.ts";

export type FrameContext = {
  readonly info: NightInfo | null;
  readonly framing: Framing | null;
  readonly setName: string;
  readonly pick: Pick | null;
  /** What deflickering multiplies the light by, stops; null: the frame is as it was taken. */
  readonly biasStops: number | null;
};

/** Times are written in UTC: a night crosses midnight, and its place may be without a zone. */
const UTC_OFFSET_MINUTES = 0;

/** Exif of a delivered frame: what happened, not what was asked. */
export function exifOf(
  frame: FrameRecord,
  context: FrameContext,
): Omit<ExifFields, "widthPx" | "heightPx" | "thumbnail"> {
  const exposure = frame.happened ?? frame.ordered;
  const { info, framing } = context;
  return {
    ...exposure,
    focalLengthMm: framing?.focalLengthMm ?? null,
    isManual: true,
    sensitivityType: 2,
    takenUtcMs: frame.openedUtcMs ?? info?.startUtcMs ?? utcMs(0),
    utcOffsetMinutes: UTC_OFFSET_MINUTES,
    exposureBiasStops: context.biasStops ?? 0,
    brightnessApex: null,
    description: describe(frame, context),
    userComment: null,
    maker: null,
    model: null,
    software: "Nattvakt",
    bodySerialNumber: null,
    place:
      info === null
        ? null
        : {
            latitudeDeg: info.latitudeDeg,
            longitudeDeg: info.longitudeDeg,
            altitudeM: null,
            directionDeg: framing?.azimuthDeg ?? null,
          },
  };
}

export function xmpOf(frame: FrameRecord, context: FrameContext): string {
  const { info, framing, pick } = context;
  const fields: XmpFields = {
    exposure: frame.happened ?? frame.ordered,
    takenUtcMs: frame.openedUtcMs,
    utcOffsetMinutes: UTC_OFFSET_MINUTES,
    latitudeDeg: info?.latitudeDeg ?? null,
    longitudeDeg: info?.longitudeDeg ?? null,
    directionDeg: framing?.azimuthDeg ?? null,
    exposureBiasStops: context.biasStops,
    rating: ratingOf(pick),
    title: info?.name ?? null,
    description: describe(frame, context),
  };
  return encodeXmp(fields);
}

/** XMP of a picture made of many frames. */
export function xmpOfWork(title: string, info: NightInfo | null, first: FrameRecord): string {
  return encodeXmp({
    exposure: first.happened ?? first.ordered,
    takenUtcMs: first.openedUtcMs,
    utcOffsetMinutes: UTC_OFFSET_MINUTES,
    latitudeDeg: info?.latitudeDeg ?? null,
    longitudeDeg: info?.longitudeDeg ?? null,
    directionDeg: null,
    exposureBiasStops: null,
    rating: null,
    title: info?.name ?? null,
    description: title,
  });
}

/** A keeper without stars has five: it was picked. XMP's −1 is "rejected". */
function ratingOf(pick: Pick | null): number | null {
  if (pick === null) return null;
  return pick.pick === "leave" ? -1 : (pick.rating ?? 5);
}

function describe(frame: FrameRecord, { info, setName }: FrameContext): string {
  const where = info === null ? "" : `${info.placeName === "" ? info.name : info.placeName}, `;
  return `${where}${setName}, frame ${frame.frameIndex}`;
}
