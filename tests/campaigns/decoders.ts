import { readFileSync, readdirSync } from "node:fs";
import * as v from "valibot";
import { readJpegHeader } from "../../core/metadata/jpegHeader.ts";
import { errorAnswerSchema, serverMessageSchema } from "../../core/api/schemas.ts";
import {
  checklistQuerySchema,
  parseMessage,
  planQuerySchema,
  rememberedPlaceSchema,
  tonightQuerySchema,
} from "../../core/api/planMessages.ts";
import { kitInputSchema } from "../../core/plan/kit.ts";
import { settingsChange } from "../../core/api/settingsChange.ts";
import { DEFAULT_EXPOSURE_SETTINGS } from "../../core/exposure/settings.ts";
import { encodeExif, withExif, type ExifFields } from "../../core/metadata/exif.ts";
import { findLargestJpeg } from "../../core/metadata/rawPreview.ts";
import { withTiffExif } from "../../core/metadata/tiffExif.ts";
import { readEventRecords } from "../../core/profiles/eventRecords.ts";
import {
  parseCameraProfile,
  parseReleaseProfile,
  parseSensorProfile,
} from "../../core/profiles/parse.ts";
import { decodeContainer, encodeContainer } from "../../core/ptp/container.ts";
import { deviceInfo } from "../../core/ptp/datasets/deviceInfo.ts";
import { decodeDevicePropDesc } from "../../core/ptp/datasets/devicePropDesc.ts";
import { decodeHandles, encodeHandles } from "../../core/ptp/datasets/handles.ts";
import { objectInfo } from "../../core/ptp/datasets/objectInfo.ts";
import { storageInfo } from "../../core/ptp/datasets/storageInfo.ts";
import { parseDateTime } from "../../core/ptp/dateTime.ts";
import { transactionId } from "../../core/ptp/ids.ts";
import { encodeIpPacket } from "../../core/ptp/ipPacket.ts";
import { createIpStream } from "../../core/ptp/ipStream.ts";
import type { Random } from "../../core/random.ts";
import { parseSkyCsv } from "../../core/rehearsal/skyCsv.ts";
import { readNmea } from "../../core/sensors/nmea.ts";
import { readSensorLine } from "../../core/sensors/sensorLine.ts";
import { newestKp } from "../../core/sky/kpObservation.ts";
import { utcMs } from "../../core/units.ts";
import { makeRaw } from "../support/madeUpRaw.ts";
import { jpegSkeleton } from "../support/tiff.ts";
import { hostileBytes, hostileJson, hostileText } from "./hostileInput.ts";

/** Something that reads what strangers send. */
export type Decoder = {
  readonly name: string;
  /** A hostile input; the same draws give the same input. */
  readonly input: (random: Random) => unknown;
  /** May throw only the project's own errors. */
  readonly decode: (input: never) => unknown;
};

const NOW_UTC_MS = utcMs(Date.UTC(2026, 10, 30));
const ID = transactionId(7);

function ofBytes(
  name: string,
  valid: readonly Uint8Array[],
  decode: (bytes: Uint8Array) => unknown,
): Decoder {
  return {
    name,
    input: (random) => hostileBytes(valid[random.integer(valid.length)]!, random),
    decode,
  };
}

function ofText(
  name: string,
  valid: readonly string[],
  decode: (text: string) => unknown,
): Decoder {
  return {
    name,
    input: (random) => hostileText(valid[random.integer(valid.length)]!, random),
    decode,
  };
}

function ofJson(
  name: string,
  valid: readonly unknown[],
  decode: (value: unknown) => unknown,
): Decoder {
  return {
    name,
    input: (random) => hostileJson(valid[random.integer(valid.length)], random),
    decode,
  };
}

const DEVICE = deviceInfo.encode({
  ...{ standardVersion: 100, vendorExtensionId: 6, vendorExtensionVersion: 100 },
  ...{ vendorExtensionDesc: "made up", functionalMode: 0 },
  ...{ operationsSupported: [0x1001, 0x1002], eventsSupported: [0x4002] },
  ...{ devicePropertiesSupported: [0x5001], captureFormats: [0x3801], imageFormats: [0x3801] },
  ...{ manufacturer: "Made up", model: "Body", deviceVersion: "1.0", serialNumber: "7" },
});

const OBJECT = objectInfo.encode({
  ...objectInfo.decode(new Uint8Array(0x200)),
  filename: "IMG_0001.JPG",
  captureDate: "20261130T221530.0",
});

/** DevicePropDesc of a 16-bit range and of an 8-bit enumeration. Source: MTP 1.1 section 5.1.2. */
const PROPERTIES = [
  Uint8Array.of(0x01, 0x50, 4, 0, 1, 50, 0, 40, 0, 1, 0, 0, 100, 0, 1, 0),
  Uint8Array.of(0x01, 0x50, 2, 0, 0, 75, 75, 2, 4, 0, 25, 50, 75, 100),
];

const CONTAINERS = [
  encodeContainer({ kind: "command", code: 0x1002, transactionId: ID, parameters: [1] }),
  encodeContainer({ kind: "event", code: 0x4002, transactionId: ID, parameters: [1, 2] }),
  encodeContainer({ kind: "data", code: 0x1001, transactionId: ID, payload: DEVICE }),
];

const PACKETS = [
  encodeIpPacket({
    ...{ kind: "initCommandRequest", guid: new Uint8Array(16), friendlyName: "someone" },
    protocolVersion: 0x10000,
  }),
  encodeIpPacket({ kind: "operationResponse", code: 0x2001, transactionId: ID, parameters: [1] }),
  encodeIpPacket({ kind: "startData", transactionId: ID, totalBytes: 100n }),
  encodeIpPacket({ kind: "endData", transactionId: ID, payload: DEVICE }),
  encodeIpPacket({ kind: "event", code: 0x4002, transactionId: ID, parameters: [9] }),
];

const JPEG = jpegSkeleton({ widthPx: 160, heightPx: 120, bytes: 600 });
const EXIF_FIELDS: ExifFields = {
  ...{ widthPx: 160, heightPx: 120, exposureSeconds: 7.43, iso: 3200, fNumber: 2.8 },
  ...{ focalLengthMm: 20, isManual: true, sensitivityType: 1, takenUtcMs: NOW_UTC_MS },
  ...{ utcOffsetMinutes: 0, exposureBiasStops: 0, brightnessApex: null, description: null },
  ...{ userComment: null, maker: null, model: null, software: null, bodySerialNumber: null },
  ...{ place: null, thumbnail: null },
};

const PLAN_QUERY = {
  ...{ latitudeDeg: 68.9, longitudeDeg: 27, date: "2027-03-24", kp: 3 },
  kit: { sensorWidthMm: 36, pixelPitchUm: 6, focalLengthMm: 20, fNumber: 2.8 },
};

const KP_FEEDS = [
  [
    ["time_tag", "Kp"],
    ["2026-11-29 21:00:00", "3.33"],
  ],
  [{ time_tag: "2026-11-29T21:00:00", Kp: 3.33 }],
  { datetime: ["2026-11-29T21:00:00Z"], Kp: [3.33] },
];

function shippedProfiles(kind: string): readonly unknown[] {
  const folder = new URL(`../../hardware-profiles/${kind}/`, import.meta.url);
  return readdirSync(folder).map(
    (file) => JSON.parse(readFileSync(new URL(file, folder), "utf8")) as unknown,
  );
}

/** Runs a search over a file in memory, as the camera's file is read in pieces. */
function searchRaw(file: Uint8Array): unknown {
  const search = findLargestJpeg(file.length);
  let step = search.next();
  while (!step.done) {
    const { offset, bytes } = step.value;
    step = search.next(file.subarray(offset, offset + bytes));
  }
  return step.value;
}

/** Takes a stream in two reads, broken where the first byte says. */
function readStream(bytes: Uint8Array): unknown {
  const stream = createIpStream(() => undefined);
  const cut = (bytes[0] ?? 0) % (bytes.length + 1);
  return [...stream.push(bytes.subarray(0, cut)), ...stream.push(bytes.subarray(cut))];
}

/** Every decoder of the program that reads what cameras, sensors, files, pages and feeds send. */
export const DECODERS: readonly Decoder[] = [
  ofBytes("USB containers", CONTAINERS, decodeContainer),
  ofBytes("IP packets", PACKETS, readStream),
  ofBytes("DeviceInfo", [DEVICE], (bytes) => deviceInfo.decode(bytes)),
  ofBytes("ObjectInfo", [OBJECT], (bytes) => objectInfo.decode(bytes)),
  ofBytes("StorageInfo", [new Uint8Array(40).fill(3)], (bytes) => storageInfo.decode(bytes)),
  ofBytes("DevicePropDesc", PROPERTIES, decodeDevicePropDesc),
  ofBytes("object handles", [encodeHandles([1, 2, 3])], decodeHandles),
  ofBytes("polled events in pairs", [Uint8Array.of(1, 0, 2, 0x40, 9, 0, 0, 0)], (bytes) =>
    readEventRecords(bytes, "countedPairs"),
  ),
  ofBytes("polled events in records", [Uint8Array.of(12, 0, 0, 0, 2, 0, 0, 0, 9, 0, 0, 0)], (b) =>
    readEventRecords(b, "sizedRecords"),
  ),
  ofBytes("JPEG headers", [JPEG], readJpegHeader),
  ofBytes("JPEG files that get Exif", [JPEG], (bytes) => withExif(bytes, encodeExif(EXIF_FIELDS))),
  ofBytes("TIFF files that get Exif", [makeRaw(JPEG, 1)], (b) => withTiffExif(b, EXIF_FIELDS)),
  ofBytes("previews in raw files", [makeRaw(JPEG, 1)], searchRaw),
  ofText("PTP dates", ["20261130T221530.0Z", "20260228T000000+0200"], parseDateTime),
  ofText(
    "NMEA sentences",
    [
      "$GPRMC,081836,A,3751.65,S,14507.36,E,000.0,360.0,130998,011.3,E*62",
      "$GPGGA,092750.000,5321.6802,N,00630.3372,W,1,8,1.03,61.7,M,55.2,M,,*76",
    ],
    (line) => readNmea(line, utcMs(0)),
  ),
  ofText(
    "sensor lines",
    ["light value=0.01234", "climate temperatureC=-12.4 humidityPercent=81"],
    readSensorLine,
  ),
  ofText(
    "sky files",
    ["seconds,luminanceCdM2,peakRatio,driftDegPerSecond\n0,0.01,1.5,0.1\n60,0.02,2,0.2\n"],
    parseSkyCsv,
  ),
  ofJson("camera profiles", shippedProfiles("cameras"), (value) =>
    parseCameraProfile(value, "standard.json"),
  ),
  ofJson("release profiles", shippedProfiles("releases"), (value) =>
    parseReleaseProfile(value, "serial-dtr.json"),
  ),
  ofJson("sensor profiles", shippedProfiles("sensors"), (value) =>
    parseSensorProfile(value, "climate.json"),
  ),
  ofJson("Kp feeds", KP_FEEDS, (value) => newestKp(value, NOW_UTC_MS)),
  ofJson("settings", [{ targetStops: -1, isoMax: 6400, stopsPerMinuteMax: null }], (value) =>
    settingsChange(value, DEFAULT_EXPOSURE_SETTINGS),
  ),
  ofJson("plan queries", [PLAN_QUERY], (value) => parseMessage(planQuerySchema, value)),
  ofJson("rehearsal queries", [PLAN_QUERY], (value) => parseMessage(tonightQuerySchema, value)),
  ofJson("kits", [PLAN_QUERY.kit], (value) => parseMessage(kitInputSchema, value)),
  ofJson("places", [{ latitudeDeg: 68.9, longitudeDeg: 27, name: "Hut Seven" }], (value) =>
    parseMessage(rememberedPlaceSchema, value),
  ),
  ofJson("checklist queries", [{ cameraId: "a", ticks: [] }], (value) =>
    parseMessage(checklistQuerySchema, value),
  ),
  ofJson("socket messages", [{ kind: "state", state: {} }], (value) =>
    v.safeParse(serverMessageSchema, value),
  ),
  ofJson("error answers", [{ error: { code: "a", sentence: "b" } }], (value) =>
    v.safeParse(errorAnswerSchema, value),
  ),
];
