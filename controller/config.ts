import { isAbsolute, join } from "node:path";
import { NightError } from "../core/errors.ts";
import { IP_PORT } from "../core/ptp/ipPacket.ts";
import { rangeAndDefaultOf, rangeOf } from "../core/exposure/settingLimits.ts";
import { DEFAULT_EXPOSURE_SETTINGS, type ExposureSettings } from "../core/exposure/settings.ts";
import { PORT_MAX, type OptionValues } from "./commandLine.ts";
import { DEMO_FOLDER } from "./archive/nightFolder.ts";
import { DEFAULT_DATA } from "./dataFolder.ts";
import { callOf } from "./ownFiles.ts";

/** The page's port; any free one serves as well. */
const DEFAULT_PORT = 8420;

/** Where nights are kept: the same for the program and for the commands that look for it. */
export const DATA_OPTION = {
  type: "text",
  value: "DIR",
  help: "where nights are kept",
  default: DEFAULT_DATA,
} as const;

/** How the daemon is called. */
export const START_COMMAND = {
  call: callOf(null),
  outlivesTerminal: true,
  purpose:
    "Watches the night. With no camera named it starts the virtual camera and runs the demo night, 10 times faster than life.",
  options: {
    camera: {
      type: "text",
      value: "WHICH",
      help: "usb, usb:SERIAL, usb:PLACE, ip:HOST or ip:HOST:PORT; several with commas between them",
    },
    release: {
      type: "text",
      value: "WHICH",
      help: "release contact: serial:PATH[:dtr|rts][:half][:low] or hid[:VENDOR:PRODUCT]; with --camera for settings and frames, or with --frames-folder and --fixed-iso for a body without a protocol",
    },
    "frames-folder": {
      type: "text",
      value: "DIR",
      help: "folder into which the frames arrive: of the camera on --release, else of the one on --camera",
    },
    "fixed-iso": {
      type: "number",
      value: "ISO",
      help: "ISO that you have set on the camera by hand; the exposure is then governed by time alone",
      ...rangeOf("isoMax"),
    },
    gnss: {
      type: "text",
      value: "PATH",
      help: "serial port of a GNSS receiver, for place and time: PATH or PATH:BAUD",
    },
    "light-meter": {
      type: "text",
      value: "PATH",
      help: "serial port of a sky light meter, which may close the shutter early: PATH or PATH:BAUD",
    },
    climate: {
      type: "text",
      value: "PATH",
      help: "serial port of a temperature and humidity sensor, for dew and cold: PATH or PATH:BAUD",
    },
    "set-camera-clock": {
      type: "flag",
      help: "set the camera's clock on connecting: to GNSS time, else to this computer's",
    },
    port: {
      type: "number",
      value: "N",
      help: "port of the page on this machine; 0: any free one",
      default: DEFAULT_PORT,
      min: 0,
      max: PORT_MAX,
      integer: true,
    },
    data: DATA_OPTION,
    frames: {
      type: "number",
      value: "N",
      help: "stop after N frames",
      min: 1,
      integer: true,
    },
    rate: {
      type: "number",
      value: "R",
      help: "night seconds per real second in the demo; a real camera runs at 1",
      default: 10,
      above: 0,
      max: 100,
    },
    seed: {
      type: "text",
      value: "N",
      help: "the demo's sky; the same seed, the same sky",
      default: "7",
    },
    "no-demo": { type: "flag", help: "serve the page only, until a watch is started from it" },
    "fetch-originals": {
      type: "flag",
      help: "fetch the cameras' own files as well, between frames and after the watch",
    },
    trace: {
      type: "text",
      value: "FILE.pcapng",
      help: "write all of the camera's protocol there, for a network analyser; pictures are cut",
    },
    "trace-pictures": { type: "flag", help: "leave the pictures in that file" },
    "new-night": { type: "flag", help: "do not resume a watch that was cut off" },
    name: { type: "text", value: "NAME", help: "name of the night", default: "night" },
    lat: { type: "number", value: "DEG", help: "latitude, north positive", min: -90, max: 90 },
    lon: { type: "number", value: "DEG", help: "longitude, east positive", min: -180, max: 180 },
    "elevation-m": {
      type: "number",
      value: "M",
      help: "height above the sea; left out: a receiver's, or not known",
      min: -500,
      max: 9000,
    },
    azimuth: {
      type: "number",
      value: "DEG",
      help: "where the lens looks, from north through east; written down with the frames",
      min: 0,
      max: 360,
    },
    altitude: {
      type: "number",
      value: "DEG",
      help: "how far above the horizon its centre looks",
      min: -90,
      max: 90,
    },
    "from-dusk": {
      type: "flag",
      help: "wait with the first frame for the plan's start: the Sun 12° under, or 6° where it never gets so low (needs --lat and --lon); the demo begins at its dusk",
    },
    "kp-feed": {
      type: "text",
      value: "URL",
      help: "address of a public Kp feed (JSON); used when it answers, never waited for",
    },
    "alarm-command": {
      type: "text",
      value: "FILE",
      help: "a program of your own that is run, without a shell, with each alarm as JSON on its input",
    },
    "alarm-webhook": {
      type: "text",
      value: "URL",
      help: "address that each alarm is posted to as JSON",
    },
    "export-to": {
      type: "text",
      value: "DIR",
      help: "a folder outside the data folder that the page may copy nights into, its whole path; several with commas between them",
    },
    "target-stops": {
      type: "number",
      value: "STOPS",
      help: "wanted brightness of the sky, stops from mid-grey",
      ...rangeAndDefaultOf("targetStops"),
    },
    "twilight-stops": {
      type: "number",
      value: "STOPS",
      help: "how much brighter than that a twilight sky is wanted: all of it with the Sun 6° under, none from 12° on",
      default: 1,
      min: 0,
      max: 3,
    },
    "f-number": {
      type: "number",
      value: "N",
      help: "aperture, where the camera does not tell it",
      ...rangeAndDefaultOf("fNumber"),
    },
    "iso-max": {
      type: "number",
      value: "ISO",
      help: "highest ISO you are comfortable with",
      ...rangeAndDefaultOf("isoMax"),
    },
    "max-exposure-seconds": {
      type: "number",
      value: "S",
      help: "longest exposure: the star-trail limit",
      ...rangeAndDefaultOf("exposureSecondsMax"),
    },
    "interval-seconds": {
      type: "number",
      value: "S",
      help: "from one opening to the next; 0: back to back",
      ...rangeAndDefaultOf("intervalSeconds"),
    },
    "focal-length-mm": {
      type: "number",
      value: "MM",
      help: "the lens's own focal length, not its full-frame equivalent; a picture that tells it counts before this",
      ...rangeAndDefaultOf("focalLengthMm"),
    },
    "sensor-width-mm": {
      type: "number",
      value: "MM",
      help: "width of the sensor; left out: as the pictures tell",
      ...rangeOf("sensorWidthMm"),
    },
    "pixel-pitch-um": {
      type: "number",
      value: "UM",
      help: "pixel pitch of the sensor; left out: as the camera and its pictures tell",
      ...rangeOf("pixelPitchUm"),
    },
    "sentinel-seconds": {
      type: "number",
      value: "S",
      help: "pace while nothing happens: one frame every S seconds; left out: full pace all night",
      above: 0,
      max: 3600,
    },
  },
} as const;

export type StartOptions = OptionValues<(typeof START_COMMAND)["options"]>;

/** Which camera to use, as asked for on the command line. */
export type CameraTarget =
  | CabledTarget
  /** A body on a release contact. */
  | {
      readonly kind: "contact";
      /** As asked for; see `release/parseRelease.ts`. */
      readonly release: string;
      /** Where frames come from, and what the photographer has set; or the camera on the cable. */
      readonly side:
        | { readonly kind: "folder"; readonly framesFolder: string; readonly fixedIso: number }
        | { readonly kind: "body"; readonly body: CabledTarget };
    };

/** A camera that speaks the protocol, over its own cable or network. */
export type CabledTarget =
  | { readonly kind: "virtual" }
  /** By serial number or place on the bus; null: the only one there is. */
  | { readonly kind: "usb"; readonly which: string | null }
  | { readonly kind: "ip"; readonly host: string; readonly port: number };

/** @throws NightError `usage.invalid` for words that name no camera. */
export function cameraTargets(options: StartOptions): readonly CameraTarget[] {
  const cabled = options.camera?.split(",").map((word) => cameraTargetOf(word.trim())) ?? [];
  if (options.release !== null) return [contactTarget(options.release, options, cabled)];
  if (options["frames-folder"] !== null && cabled.length !== 1) {
    throw new NightError(
      "usage.invalid",
      "--frames-folder goes with --release, or with one camera on --camera",
    );
  }
  return options.camera === null && !options["no-demo"] ? [{ kind: "virtual" }] : cabled;
}

/** Whether it is the demo's camera that is watched with. */
export function isDemoOf(targets: readonly CameraTarget[]): boolean {
  return targets.some(({ kind }) => kind === "virtual");
}

/**
 * The folders outside the data folder that the page may copy nights into.
 *
 * @throws NightError `usage.invalid` for a path that is not whole: a service is not started where
 *   it was installed from.
 */
export function exportDirsOf({ "export-to": named }: StartOptions): readonly string[] {
  const folders = named?.split(",").map((word) => word.trim()) ?? [];
  const partial = folders.find((folder) => !isAbsolute(folder));
  if (partial === undefined) return folders;
  throw new NightError(
    "usage.invalid",
    `--export-to takes whole paths, as in /media/disk, not "${partial}"`,
  );
}

/** Where this call's nights go: the demo's into a folder of their own inside the data folder. */
export function withOwnFolder(options: StartOptions): StartOptions {
  if (!isDemoOf(cameraTargets(options))) return options;
  return { ...options, data: join(options.data, DEMO_FOLDER) };
}

function contactTarget(
  release: string,
  options: StartOptions,
  cabled: readonly CabledTarget[],
): CameraTarget {
  const { "frames-folder": framesFolder, "fixed-iso": fixedIso } = options;
  const [body, ...others] = cabled;
  if (body && others.length === 0 && framesFolder === null) {
    return { kind: "contact", release, side: { kind: "body", body } };
  }
  if (body) {
    throw new NightError(
      "usage.invalid",
      "--release goes with one camera on --camera, or with --frames-folder and --fixed-iso",
    );
  }
  if (framesFolder === null || fixedIso === null) {
    throw new NightError(
      "usage.invalid",
      "--release needs --frames-folder DIR, into which the files come, and --fixed-iso N, the ISO you have set on the camera; or --camera for settings and frames",
    );
  }
  return { kind: "contact", release, side: { kind: "folder", framesFolder, fixedIso } };
}

/** The camera that one word of `--camera` names. @throws NightError `usage.invalid`. */
export function cameraTargetOf(word: string): CabledTarget {
  if (word === "usb") return { kind: "usb", which: null };
  if (/^usb:./.test(word)) return { kind: "usb", which: word.slice("usb:".length) };
  const ip = /^ip:(\[[0-9a-fA-F:]+\]|[^:[\]]+)(?::(\d{1,5}))?$/.exec(word);
  const port = Number(ip?.[2] ?? IP_PORT);
  if (!ip || port < 1 || port > PORT_MAX) {
    throw new NightError(
      "usage.invalid",
      `--camera takes usb, usb:SERIAL, usb:PLACE, ip:HOST or ip:HOST:PORT, not "${word}"`,
    );
  }
  return { kind: "ip", host: ip[1]!.replace(/^\[|\]$/g, ""), port };
}

/** The governor's settings as asked for on the command line. */
export function exposureSettings(options: StartOptions): ExposureSettings {
  const fixedIso = options["fixed-iso"];
  return {
    ...DEFAULT_EXPOSURE_SETTINGS,
    targetStops: options["target-stops"],
    fNumber: options["f-number"],
    isoMax: options["iso-max"],
    isoMin: Math.min(DEFAULT_EXPOSURE_SETTINGS.isoMin, options["iso-max"]),
    exposureSecondsMax: options["max-exposure-seconds"],
    exposureSecondsMin: Math.min(
      DEFAULT_EXPOSURE_SETTINGS.exposureSecondsMin,
      options["max-exposure-seconds"],
    ),
    intervalSeconds: options["interval-seconds"],
    focalLengthMm: options["focal-length-mm"],
    sensorWidthMm: options["sensor-width-mm"],
    pixelPitchUm: options["pixel-pitch-um"],
    ...(fixedIso === null ? {} : { isoMin: fixedIso, isoMax: fixedIso }),
  };
}
