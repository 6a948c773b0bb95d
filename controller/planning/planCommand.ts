import { rangeOf } from "../../core/exposure/settingLimits.ts";
import { DEFAULT_KIT_INPUT } from "../../core/plan/kit.ts";
import { DEFAULT_DATA } from "../dataFolder.ts";
import { callOf } from "../ownFiles.ts";

/** How the plan is called; one declaration for parser, checks and help. */
export const PLAN_COMMAND = {
  call: callOf("plan"),
  purpose:
    "Plans a night: darkness, Moon, where to face, how aurora stands for each Kp, exposure limits, frames, room and batteries. No network is needed.",
  options: {
    lat: { type: "number", value: "DEG", help: "latitude, north positive", min: -90, max: 90 },
    lon: { type: "number", value: "DEG", help: "longitude, east positive", min: -180, max: 180 },
    place: { type: "text", value: "NAME", help: "name of the place; alone, a remembered one" },
    gnss: {
      type: "text",
      value: "PATH",
      help: "serial port of a GNSS receiver that gives the place: PATH or PATH:BAUD",
    },
    date: {
      type: "text",
      value: "YYYY-MM-DD",
      help: "date of the evening, in --zone if it is given, else by longitude; left out: tonight",
    },
    "elevation-m": {
      type: "number",
      value: "METRES",
      help: "height above the sea",
      min: -500,
      max: 9000,
    },
    zone: {
      type: "text",
      value: "ZONE",
      help: "time zone of --date and of the text; left out: this computer's for the text",
    },
    json: { type: "flag", help: "the plan as JSON, times in UTC" },
    ics: { type: "text", value: "FILE", help: "writes the night as a calendar file too" },
    "temperature-c": {
      type: "number",
      value: "C",
      help: "expected at night; left out: −10",
      min: -80,
      max: 50,
    },
    "wind-kmh": { type: "number", value: "KMH", help: "expected wind", min: 0, max: 300 },
    humidity: { type: "number", value: "PERCENT", help: "expected humidity", min: 1, max: 100 },
    fps: {
      type: "number",
      value: "N",
      help: "frames a second of the film",
      default: 24,
      min: 1,
      max: 240,
    },
    "dark-sky-mag": {
      type: "number",
      value: "MAG",
      help: "moonless zenith after dark, mag/arcsec²; left out: 22, natural",
      min: 15,
      max: 22.5,
    },
    kit: { type: "text", value: "NAME", help: "a remembered kit, instead of the options below" },
    sensor: {
      type: "text",
      value: "CLASS",
      help: "sensor class",
      choices: ["fullFrame", "crop", "fourThirds", "oneInch"],
      default: "fullFrame",
    },
    "image-width": {
      type: "number",
      value: "PX",
      help: "pixels across a full-size frame",
      above: 0,
    },
    "pixel-pitch-um": {
      type: "number",
      value: "UM",
      help: "pixel pitch, instead",
      ...rangeOf("pixelPitchUm"),
    },
    "focal-length-mm": {
      type: "number",
      value: "MM",
      help: "focal length",
      default: DEFAULT_KIT_INPUT.focalLengthMm,
      ...rangeOf("focalLengthMm"),
    },
    "f-number": {
      type: "number",
      value: "N",
      help: "widest aperture",
      default: DEFAULT_KIT_INPUT.fNumberWidest,
      ...rangeOf("fNumber"),
    },
    "iso-max": {
      type: "number",
      value: "ISO",
      help: "highest ISO you are comfortable with",
      default: 6400,
      ...rangeOf("isoMax"),
    },
    "battery-wh": { type: "number", value: "WH", help: "one battery", default: 16, above: 0 },
    "camera-watts": {
      type: "number",
      value: "W",
      help: "what the camera draws",
      default: 3.5,
      above: 0,
    },
    "card-gb": { type: "number", value: "GB", help: "room on the card", default: 128, above: 0 },
    "frame-mb": { type: "number", value: "MB", help: "size of one frame's files", above: 0 },
    "busy-seconds": {
      type: "number",
      value: "S",
      help: "camera's pause between frames",
      default: 1,
      ...rangeOf("busySeconds"),
    },
    "remember-kit": { type: "text", value: "NAME", help: "remembers these kit options by a name" },
    "remember-place": { type: "flag", help: "remembers the place by its --place name" },
    "kp-feed": {
      type: "text",
      value: "URL",
      help: "a public Kp feed in JSON; used when it answers in time, never waited for",
    },
    rehearse: {
      type: "text",
      value: "ACTIVITY",
      help: "runs the night against a hundred simulated skies",
      choices: ["quiet", "moderate", "storm"],
    },
    clouds: {
      type: "text",
      value: "CLOUDS",
      help: "how cloudy the rehearsal's skies are",
      choices: ["clear", "some", "changing"],
      default: "changing",
    },
    seed: { type: "number", value: "N", help: "of the rehearsal", default: 1, integer: true },
    data: {
      type: "text",
      value: "DIR",
      help: "where kits and places are remembered",
      default: DEFAULT_DATA,
    },
  },
} as const;
