import type { ExifFields } from "../../core/metadata/exif.ts";
import { encodeXmp, type XmpFields } from "../../core/metadata/xmp.ts";
import type { Framing } from "../../core/frames/keogramAxes.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { isPlaced } from "../../core/sky/place.ts";
import { utcMs } from "../../core/units.ts";
import type { Pick } from "../archive/pickRows.ts";
import type { NightInfo } from "../archive/nightInfo.ts";
import { keyOf } from "../archive/frameKey.ts";
import { framingOf, type NightToDeliver } from "./nightToDeliver.ts";

type FrameContext = {
  readonly info: NightInfo | null;
  readonly framing: Framing | null;
  readonly setName: string;
  readonly pick: Pick | null;
  /** What deflickering multiplies the light by, stops; null: the frame is as it was taken. */
  readonly biasStops: number | null;
};

/** Gives each frame its context; what the frames share is looked up once. */
export function contextsOf(
  night: NightToDeliver,
): (frame: FrameRecord, setName: string, biasStops: number) => FrameContext {
  const picks = new Map(night.catalogue.picks().map((pick) => [keyOf(pick), pick]));
  const framings = new Map(
    night.catalogue.cameraIds().map((id) => [id, framingOf(night.catalogue, id)]),
  );
  return (frame, setName, biasStops) => ({
    info: night.info,
    framing: framings.get(frame.cameraId) ?? null,
    setName,
    pick: picks.get(keyOf(frame)) ?? null,
    biasStops,
  });
}

/** Times are written in UTC: a night crosses midnight, and its place may be without a zone. */
const UTC_OFFSET_MINUTES = 0;

/** Exif of a delivered frame: what happened, not what was asked. */
export function exifOf(
  frame: FrameRecord,
  context: FrameContext,
): Omit<ExifFields, "widthPx" | "heightPx" | "thumbnail"> {
  const exposure = frame.happened ?? frame.ordered;
  const { info, framing } = context;
  const place = whereOf(info);
  return {
    ...exposure,
    focalLengthMm: framing?.focalLengthMm ?? null,
    isManual: true,
    sensitivityType: 2,
    takenUtcMs: frame.openedUtcMs ?? info?.startUtcMs ?? utcMs(0),
    utcOffsetMinutes: UTC_OFFSET_MINUTES,
    exposureBiasStops: context.biasStops ?? 0,
    brightnessApex: null,
    description: asciiOrNull(describe(frame, context)),
    userComment: describe(frame, context),
    maker: null,
    model: null,
    software: "Nattvakt",
    bodySerialNumber: null,
    place: place && { ...place, directionDeg: framing?.azimuthDeg ?? null },
  };
}

export function xmpOf(frame: FrameRecord, context: FrameContext): string {
  const { info, framing, pick } = context;
  const fields: XmpFields = {
    exposure: frame.happened ?? frame.ordered,
    takenUtcMs: frame.openedUtcMs,
    utcOffsetMinutes: UTC_OFFSET_MINUTES,
    ...(whereOf(info) ?? NOWHERE),
    directionDeg: framing?.azimuthDeg ?? null,
    exposureBiasStops: context.biasStops,
    rating: ratingOf(pick),
    title: info?.name ?? null,
    description: describe(frame, context),
  };
  return encodeXmp(fields);
}

/** What a picture or film made of many frames says of itself. */
export type WorkContext = {
  readonly info: NightInfo | null;
  /** null for a work of several cameras. */
  readonly framing: Framing | null;
  /** As in "keogram of camera-1". */
  readonly label: string;
  readonly first: FrameRecord;
};

/** Exif of such a picture: when its first frame began, and where. It has no exposure of its own. */
export function exifOfWork(work: WorkContext): Omit<ExifFields, "widthPx" | "heightPx"> {
  const { info, framing, label, first } = work;
  const context = { info, framing, setName: label, pick: null, biasStops: null };
  return {
    ...exifOf(first, context),
    ...{ exposureSeconds: null, iso: null, fNumber: null },
    description: asciiOrNull(label),
    userComment: label,
    thumbnail: null,
  };
}

/** XMP of such a picture. */
export function xmpOfWork({ info, framing, label, first }: WorkContext): string {
  return encodeXmp({
    exposure: null,
    takenUtcMs: first.openedUtcMs,
    utcOffsetMinutes: UTC_OFFSET_MINUTES,
    ...(whereOf(info) ?? NOWHERE),
    directionDeg: framing?.azimuthDeg ?? null,
    exposureBiasStops: null,
    rating: null,
    title: info?.name ?? null,
    description: label,
  });
}

/** Tags of a film, by the names that its containers share. */
export function filmTags({ info, label, first }: WorkContext): Readonly<Record<string, string>> {
  const { openedUtcMs } = first;
  const place = whereOf(info);
  return {
    title: info === null ? label : `${info.name}: ${label}`,
    ...(info === null || info.placeName === "" ? {} : { comment: info.placeName }),
    ...(place === null ? {} : { location: iso6709(place) }),
    ...(openedUtcMs === null ? {} : { creation_time: new Date(openedUtcMs).toISOString() }),
  };
}

type Where = {
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  readonly altitudeM: number | null;
};

const NOWHERE = { latitudeDeg: null, longitudeDeg: null, altitudeM: null } as const;

/** Null for a night whose place was never given. */
function whereOf(info: NightInfo | null): Where | null {
  if (info === null || !isPlaced(info)) return null;
  const { latitudeDeg, longitudeDeg, elevationM = null } = info;
  return { latitudeDeg, longitudeDeg, altitudeM: elevationM };
}

/** As in "+68.9000+027.0000/", with the height as in "+212.0/". Source: ISO 6709, annex H. */
function iso6709({ latitudeDeg, longitudeDeg, altitudeM }: Where): string {
  const part = (value: number, width: number, digits: number): string =>
    `${value < 0 ? "-" : "+"}${Math.abs(value).toFixed(digits).padStart(width, "0")}`;
  const height = altitudeM === null ? "" : part(altitudeM, 0, 1);
  return `${part(latitudeDeg, 7, 4)}${part(longitudeDeg, 8, 4)}${height}/`;
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

/** Exif's description is ASCII; what needs more letters stands whole in its comment and in XMP. */
function asciiOrNull(text: string): string | null {
  return /^[\x20-\x7e]*$/.test(text) ? text : null;
}
