import { NightError } from "../../core/errors.ts";
import { IP_PORT } from "../../core/ptp/ipPacket.ts";
import { DEMO_NIGHT, HUT_SEVEN, type SkyScenario } from "../../core/simulation/sky.ts";
import { TONE_CURVES, type ToneCurveName } from "../../core/simulation/render.ts";
import { utcMs, type UtcMs } from "../../core/units.ts";
import { startOrigin, type ClockOrigin } from "../timing/clock.ts";
import { PORT_MAX, type OptionValues } from "../commandLine.ts";
import { callOf } from "../ownFiles.ts";
import { DEFAULT_CAMERA_SETTINGS, type CameraSettings } from "./cameraSettings.ts";
import type { SimulatedView } from "./simulatedView.ts";

const SCENARIOS: readonly SkyScenario[] = [
  "demo",
  "quiet",
  "breakup",
  "double",
  "pulsating",
  "storm",
  "cloudy",
];
const PROGRAMS: readonly CameraSettings["programMode"][] = [
  "manual",
  "automatic",
  "aperturePriority",
  "shutterPriority",
];
const defaults = DEFAULT_CAMERA_SETTINGS;

/** How the virtual camera is called. */
export const VIRTUAL_CAMERA_COMMAND = {
  call: callOf("virtual-camera"),
  purpose:
    "A camera without glass: answers any PTP/IP host, looks at a simulated sky from an invented hut, and keeps its pictures on a card of this machine until it ends. Prints one line of JSON when it listens.",
  options: {
    host: { type: "text", value: "ADDRESS", help: "address to listen on", default: "127.0.0.1" },
    port: {
      type: "number",
      value: "N",
      help: "TCP port; 0: any free one",
      default: IP_PORT,
      min: 0,
      max: PORT_MAX,
      integer: true,
    },
    rate: {
      type: "number",
      value: "R",
      help: "night seconds per real second",
      default: 1,
      above: 0,
      max: 10_000,
    },
    seed: { type: "text", value: "N", help: "same seed, same sky and faults", default: "7" },
    scenario: {
      type: "text",
      value: "NAME",
      help: "what the sky does",
      default: "demo",
      choices: SCENARIOS,
    },
    "start-utc": {
      type: "text",
      value: "ISO",
      help: `the night's time at the start (default ${new Date(DEMO_NIGHT.startUtcMs).toISOString()})`,
    },
    "origin-json": {
      type: "text",
      value: "JSON",
      help: "take the night's clock from another program instead: rate, realOriginMs, startUtcMs",
    },
    "scenario-start-utc": {
      type: "text",
      value: "ISO",
      help: "when the sky's scenario begins (default: the start of the clock)",
    },
    "scenario-hours": {
      type: "number",
      value: "H",
      help: "how long the scenario lasts",
      default: DEMO_NIGHT.durationSeconds / 3600,
      above: 0,
      max: 168,
    },
    lat: {
      type: "number",
      value: "DEG",
      help: "latitude",
      default: HUT_SEVEN.latitudeDeg,
      min: -90,
      max: 90,
    },
    lon: {
      type: "number",
      value: "DEG",
      help: "longitude",
      default: HUT_SEVEN.longitudeDeg,
      min: -180,
      max: 180,
    },
    azimuth: {
      type: "number",
      value: "DEG",
      help: "where the lens looks, from north through east",
      default: HUT_SEVEN.azimuthDeg,
      min: 0,
      max: 360,
    },
    altitude: {
      type: "number",
      value: "DEG",
      help: "how far above the horizon it looks",
      default: HUT_SEVEN.altitudeDeg,
      min: -90,
      max: 90,
    },
    "focal-length-mm": {
      type: "number",
      value: "MM",
      help: "lens",
      default: defaults.focalLengthMm,
      above: 0,
      max: 400,
    },
    "focus-error-um": {
      type: "number",
      value: "UM",
      help: "how far the sensor is from the sharp image",
      default: 0,
      min: -500,
      max: 500,
    },
    "dew-share": {
      type: "number",
      value: "0..1",
      help: "dew on the front glass",
      default: 0,
      min: 0,
      max: 1,
    },
    "width-px": {
      type: "number",
      value: "PX",
      help: "width of the pictures, 3:2",
      default: 1536,
      min: 96,
      max: 6000,
      integer: true,
    },
    "tone-curve": {
      type: "text",
      value: "NAME",
      help: "how the camera renders light; hosts do not learn it",
      default: "mild",
      choices: Object.keys(TONE_CURVES),
    },
    "card-mb": {
      type: "number",
      value: "MB",
      help: "size of the card",
      default: defaults.cardBytes / 1e6,
      above: 0,
    },
    "card-dir": {
      type: "text",
      value: "DIR",
      help: "where the card's folder is made (default: the machine's temporary folder)",
    },
    "battery-percent": {
      type: "number",
      value: "N",
      help: "charge at the start",
      default: defaults.batteryPercent,
      above: 0,
      max: 100,
    },
    "battery-hours": {
      type: "number",
      value: "H",
      help: "how long a full battery lasts, frame after frame",
      default: defaults.batteryHours,
      above: 0,
    },
    "busy-seconds": {
      type: "number",
      value: "S",
      help: "readout after the shutter has closed, night seconds",
      default: defaults.busySeconds,
      min: 0,
      max: 600,
    },
    "close-lag-seconds": {
      type: "number",
      value: "S",
      help: "how long the shutter takes to close when an open capture is ended, night seconds",
      default: defaults.closeLagSeconds,
      min: 0,
      max: 10,
    },
    "no-bulb": { type: "flag", help: "offer no open captures" },
    "bulb-limit-seconds": {
      type: "number",
      value: "S",
      help: "longest open capture",
      default: defaults.bulbLimitSeconds,
      above: 0,
      max: 3600,
    },
    "orphan-seconds": {
      type: "number",
      value: "S",
      help: "a shutter left open by a lost host closes after this, night seconds",
      default: defaults.orphanSeconds,
      min: 0,
      max: 3600,
    },
    "clock-drift-seconds": {
      type: "number",
      value: "S",
      help: "the camera's clock minus the true time",
      default: defaults.clockDriftSeconds,
    },
    "clock-gain-seconds-per-day": {
      type: "number",
      value: "S",
      help: "how much its clock gains a day",
      default: defaults.clockGainSecondsPerDay,
    },
    "utc-offset-minutes": {
      type: "number",
      value: "MIN",
      help: "zone of its clock, east of UTC",
      default: defaults.utcOffsetMinutes,
      min: -720,
      max: 840,
      integer: true,
    },
    "program-mode": {
      type: "text",
      value: "MODE",
      help: "exposure program at the start",
      default: defaults.programMode,
      choices: PROGRAMS,
    },
    "focus-mode": {
      type: "text",
      value: "MODE",
      help: "focus at the start",
      default: defaults.focusMode,
      choices: ["manual", "automatic"],
    },
    "busy-probability": {
      type: "number",
      value: "0..1",
      help: "fault: chance of being busy for no reason",
      default: 0,
      min: 0,
      max: 1,
    },
    "drop-link-at-frame": frameFault("both connections break during this frame"),
    "card-full-at-frame": frameFault("this frame does not fit on the card"),
    "lose-object-added-at-frame": frameFault("this frame is not announced"),
    "corrupt-jpeg-at-frame": frameFault("this frame's file is damaged"),
    "no-probe": { type: "flag", help: "never ask a silent host for a sign of life" },
    verbose: { type: "flag", help: "say what happens, on standard error" },
    "exit-with-parent": { type: "flag", help: "end when standard input closes" },
  },
} as const;

export type VirtualCameraOptions = OptionValues<(typeof VIRTUAL_CAMERA_COMMAND)["options"]>;

function frameFault(what: string) {
  const help = `fault: ${what} (counted from 0)`;
  return { type: "number", value: "N", help, min: 0, integer: true } as const;
}

/** The camera's settings as the options say. */
export function settingsOf(options: VirtualCameraOptions): CameraSettings {
  return {
    ...DEFAULT_CAMERA_SETTINGS,
    cardBytes: options["card-mb"] * 1e6,
    batteryPercent: options["battery-percent"],
    batteryHours: options["battery-hours"],
    busySeconds: options["busy-seconds"],
    closeLagSeconds: options["close-lag-seconds"],
    hasBulb: !options["no-bulb"],
    bulbLimitSeconds: options["bulb-limit-seconds"],
    orphanSeconds: options["orphan-seconds"],
    clockDriftSeconds: options["clock-drift-seconds"],
    clockGainSecondsPerDay: options["clock-gain-seconds-per-day"],
    utcOffsetMinutes: options["utc-offset-minutes"],
    programMode: options["program-mode"] as CameraSettings["programMode"],
    focusMode: options["focus-mode"] as CameraSettings["focusMode"],
    focalLengthMm: options["focal-length-mm"],
    faults: {
      busyProbability: options["busy-probability"],
      dropLinkAtFrame: options["drop-link-at-frame"],
      cardFullAtFrame: options["card-full-at-frame"],
      loseObjectAddedAtFrame: options["lose-object-added-at-frame"],
      corruptJpegAtFrame: options["corrupt-jpeg-at-frame"],
    },
  };
}

/**
 * The night's clock: another program's, or one that starts now.
 * @throws NightError `usage.invalid` for what is no time or no clock.
 */
export function originOf(options: VirtualCameraOptions): ClockOrigin {
  const json = options["origin-json"];
  if (json !== null) return parseOrigin(json);
  const start = options["start-utc"];
  const startUtcMs = start === null ? DEMO_NIGHT.startUtcMs : parseUtc("start-utc", start);
  return startOrigin({ rate: options.rate, startUtcMs });
}

/** When the sky's scenario begins. @throws NightError `usage.invalid` for what is no time. */
export function scenarioStartOf(options: VirtualCameraOptions, origin: ClockOrigin): UtcMs {
  const start = options["scenario-start-utc"];
  return start === null ? origin.startUtcMs : parseUtc("scenario-start-utc", start);
}

/** What the camera looks at and through, and when its scenario begins. */
export function viewOf(
  options: VirtualCameraOptions,
  origin: ClockOrigin,
): Omit<SimulatedView, "identity"> {
  return {
    seed: options.seed,
    place: {
      latitudeDeg: options.lat,
      longitudeDeg: options.lon,
      azimuthDeg: options.azimuth,
      altitudeDeg: options.altitude,
    },
    scenarioStartUtcMs: scenarioStartOf(options, origin),
    scenarioSeconds: options["scenario-hours"] * 3600,
    // Names of scenarios and curves are checked by the command line.
    scenario: options.scenario as SkyScenario,
    widthPx: options["width-px"],
    heightPx: Math.round((options["width-px"] * 2) / 3),
    lens: {
      focalLengthMm: options["focal-length-mm"],
      focusErrorUm: options["focus-error-um"],
      dewShare: options["dew-share"],
    },
    toneCurve: options["tone-curve"] as ToneCurveName,
  };
}

function parseUtc(option: string, text: string): UtcMs {
  // A time without a zone would be read as this machine's own.
  const hasZone = /(Z|[+-]\d\d:?\d\d)$/.test(text);
  const parsed = Date.parse(hasZone ? text : `${text}Z`);
  if (Number.isNaN(parsed)) {
    throw new NightError("usage.invalid", `--${option} must be a time as in 2027-03-24T17:45:00Z`);
  }
  return utcMs(parsed);
}

function parseOrigin(json: string): ClockOrigin {
  try {
    const { rate, realOriginMs, startUtcMs } = JSON.parse(json) as Record<string, unknown>;
    if (typeof rate === "number" && rate > 0 && typeof realOriginMs === "number") {
      return { rate, realOriginMs, startUtcMs: utcMs(startUtcMs as number) };
    }
  } catch {
    // Said below, like any other thing that is no clock.
  }
  throw new NightError(
    "usage.invalid",
    "--origin-json must hold rate, realOriginMs and startUtcMs",
  );
}
