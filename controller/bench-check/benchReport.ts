import { verdictOf } from "./verdict.ts";
import type { BenchRow } from "../../core/api/benchMessages.ts";
import { timingWords, type Scheduling } from "../../core/words/timingWords.ts";
import { eventName } from "../../core/ptp/events.ts";
import {
  batteryFrames,
  errorsOf,
  spreadOf,
  type BenchFigures,
  type ExposureFigures,
  type SettingFigures,
  type Spread,
} from "./benchFigures.ts";

/** The figures as a table that a person can read in the dark: what, what was found, and a remark. */
export function benchReport(figures: BenchFigures): string {
  const rows = benchRows(figures);
  const width = Math.max(...rows.map(({ name }) => name.length)) + 2;
  return rows.map(({ name, words }) => `${name.padEnd(width)}${words}\n`).join("");
}

/** The same, row by row, for the code that draws the table. */
export function benchRows(figures: BenchFigures): readonly BenchRow[] {
  const verdict = verdictOf(figures);
  const rows: readonly (readonly [string, string])[] = [
    ["camera", `${figures.label}, serial ${figures.serialNumber || "not reported"}`],
    ["reached at", `${figures.place}, ${ms(figures.roundTripMs)} there and back`],
    ["timing", schedulingWords(figures.scheduling)],
    ["program", advise(figures.program, "set the camera to manual")],
    ["focus", advise(figures.focus, "set focus to manual, on a far light")],
    ["clock", clockWords(figures.clockOffsetMs)],
    ...figures.settings.map((setting) => [setting.name, settingWords(setting)] as const),
    ...bulbRows(figures),
    ["own timer", timedWords(figures)],
    ["preview", previewWords(figures)],
    ["whole file", fileWords(figures)],
    ["events", eventWords(figures)],
    ["battery", batteryWords(figures)],
    ...figures.troubles.map(({ step, sentence }) => [`not looked at: ${step}`, sentence] as const),
    ["verdict", verdict.sentence],
    ["next", verdict.next],
  ];
  return rows.map(([name, words]) => ({ name, words }));
}

function bulbRows(figures: BenchFigures): readonly (readonly [string, string])[] {
  const { bulb, compensated, bulbExcessMs, bulbRemark } = figures;
  if (bulb.length === 0) return [["bulb", bulbRemark ?? "nothing came of it"]];
  const all = [...bulb, ...compensated];
  const dead = spreadOf(all.flatMap(({ deadMs }) => deadMs ?? []));
  const named = spreadOf(all.flatMap(({ namedMs }) => namedMs ?? []));
  const excess =
    bulbExcessMs === null ? (bulbRemark ?? "not known") : `${bulbExcessMs.toFixed(1)} ms`;
  return [
    ...bulb.map((one) => [`bulb ${one.askedSeconds} s`, exposureWords(one)] as const),
    ["longer than held", `${excess}${bulbExcessMs === null ? "" : "; taken off from now on"}`],
    ...compensated.map((one) => [`again ${one.askedSeconds} s`, exposureWords(one)] as const),
    ["error before", errorWords(bulb)],
    ["error after", compensated.length === 0 ? "not compensated" : errorWords(compensated)],
    ["opening", ms(spreadOf(all.map(({ openLatencyMs }) => openLatencyMs)))],
    ["closing", ms(spreadOf(all.map(({ closeLatencyMs }) => closeLatencyMs)))],
    ["dead time", ms(dead)],
    ["file named", named === null ? "never by an event" : `${ms(named)} after closing`],
  ];
}

function exposureWords({ exifSeconds, heldSeconds }: ExposureFigures): string {
  const exif =
    exifSeconds === null ? "the file does not say" : `the file says ${exifSeconds.toFixed(4)} s`;
  return `${exif}, held ${heldSeconds.toFixed(4)} s`;
}

function errorWords(exposures: readonly ExposureFigures[]): string {
  const spread = spreadOf(errorsOf(exposures).map((seconds) => seconds * 1000));
  if (spread === null) return "not known";
  const signed = (value: number): string => `${value >= 0 ? "+" : ""}${value.toFixed(1)}`;
  return `${signed(spread.median)} ms in the middle, ${signed(spread.min)} to ${signed(spread.max)} ms`;
}

function settingWords({ values, tried, isRestored }: SettingFigures): string {
  if (values.length === 0) return "cannot be set over the cable; set it by hand";
  const kept = tried.filter(({ asked, readBack }) => readBack === asked);
  const range = `${short(values[0]!)} to ${short(values.at(-1)!)}, ${values.length} values`;
  const refused = tried
    .filter(({ asked, readBack }) => readBack !== asked)
    .map(
      ({ asked, readBack }) =>
        `${short(asked)} became ${readBack === null ? "?" : short(readBack)}`,
    );
  const words = [`${range}; ${kept.length} of ${tried.length} read back as set`, ...refused];
  return [...words, ...(isRestored ? [] : ["NOT put back where it was"])].join("; ");
}

function previewWords({ preview }: BenchFigures): string {
  if (preview === null) return "no file to look at";
  if (preview.thumbBytes === null) return "no thumbnail";
  const pieces = preview.readsPieces ? "files can be read in pieces" : "files come only whole";
  return `thumbnail of ${kilobytes(preview.thumbBytes)} in ${preview.thumbMs!.toFixed(0)} ms; ${pieces}`;
}

function fileWords({ preview }: BenchFigures): string {
  if (preview?.fileMs === undefined || preview.fileMs === null) return "not fetched";
  const perSecond = preview.fileBytes / 1e6 / (preview.fileMs / 1000);
  return `${preview.filename}, ${kilobytes(preview.fileBytes)} in ${preview.fileMs.toFixed(0)} ms (${perSecond.toFixed(1)} MB/s)`;
}

function timedWords({ timed, timedRemark }: BenchFigures): string {
  if (timed.length === 0) return timedRemark ?? "not tried";
  return timed
    .map(({ askedSeconds, setSeconds, exifSeconds, hasFile }) => {
      const set = setSeconds === null ? "" : `, set to ${short(setSeconds)} s`;
      const file = hasFile ? "the file does not say" : "no file came";
      const exif = exifSeconds === null ? file : `the file says ${short(exifSeconds)} s`;
      return `${askedSeconds} s asked${set}, ${exif}`;
    })
    .join("; ");
}

function eventWords({ events, battery }: BenchFigures): string {
  if (events.length === 0 && battery.frames === 0) return "nothing was exposed, so none was due";
  if (events.length === 0) return "none came; files are found by asking";
  return events.map(({ code, count }) => `${eventName(code)} × ${count}`).join(", ");
}

function batteryWords({ battery }: BenchFigures): string {
  if (battery.afterPercent === null) return "level not readable";
  const level = `${battery.afterPercent} %`;
  const left = batteryFrames(battery);
  if (left === null) return level;
  if (left.isAtLeast) {
    return `${level}, did not fall in ${battery.frames} frames: too short to tell how long it lasts`;
  }
  return `${level}; about ${left.frames} frames from full at this pace`;
}

function schedulingWords(scheduling: Scheduling | null): string {
  return scheduling === null
    ? "not known before this camera's first watch; the log tells then"
    : timingWords.scheduling(scheduling);
}

function clockWords(offsetMs: number | null): string {
  if (offsetMs === null) return "not readable";
  const seconds = Math.abs(offsetMs) / 1000;
  const size = seconds < 7200 ? `${seconds.toFixed(1)} s` : `${(seconds / 3600).toFixed(1)} h`;
  return `${size} ${offsetMs < 0 ? "behind" : "ahead of"} this computer`;
}

function advise(state: string, advice: string): string {
  return state === "manual" ? "manual" : `${state}; ${advice}`;
}

function ms(spread: Spread | null): string {
  if (spread === null) return "not known";
  return `${spread.median.toFixed(1)} ms (${spread.min.toFixed(1)} to ${spread.max.toFixed(1)})`;
}

function kilobytes(bytes: number): string {
  return bytes < 1e6 ? `${(bytes / 1e3).toFixed(0)} kB` : `${(bytes / 1e6).toFixed(1)} MB`;
}

function short(value: number): string {
  return String(Number(value.toPrecision(4)));
}
