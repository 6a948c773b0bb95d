import type { PlanAnswer } from "../../core/api/planMessages.ts";
import { NightError } from "../../core/errors.ts";
import { CAUTIONS_DEFER } from "../../core/plan/cautions.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import { moonEvents, moonInFrameText } from "../../core/plan/moonWhen.ts";
import { planWords } from "../../core/words/planWords.ts";
import type { NightPlan } from "../../core/plan/plan.ts";
import type { AuroraHour } from "../../core/plan/auroraHours.ts";
import type { PaceBudget } from "../../core/plan/budget.ts";
import type { Band, TonightResult } from "../../core/rehearsal/tonightResult.ts";
import type { AuroraView } from "../../core/sky/auroraView.ts";

/** Width of the text, characters. */
const WIDTH = 96;
const LABEL_WIDTH = 11;

/** Writes times of day in one time zone. */
type TimeWriter = { readonly zone: string; time(iso: string | null): string };

/**
 * @param zone  IANA name, as in Europe/Helsinki; `null`: this computer's.
 * @throws NightError `usage.invalid` for a zone that is none.
 */
export function timeWriter(zone: string | null): TimeWriter {
  const format = formatOf(zone);
  return {
    zone: format.resolvedOptions().timeZone,
    time: (iso) => (iso === null ? "–" : timeOfDay(format, Date.parse(iso))),
  };
}

const HOUR_MS = 3_600_000;

/** A time of day; in the hour that comes twice in autumn with its distance from UTC. */
function timeOfDay(format: Intl.DateTimeFormat, atMs: number): string {
  const text = format.format(atMs);
  const isTwice = [-HOUR_MS, HOUR_MS].some((awayMs) => format.format(atMs + awayMs) === text);
  if (!isTwice) return text;
  const { timeZone } = format.resolvedOptions();
  const named = new Intl.DateTimeFormat("en-GB", { timeZone, timeZoneName: "shortOffset" });
  const zone = named.formatToParts(atMs).find(({ type }) => type === "timeZoneName")?.value ?? "";
  return `${text} ${zone.replace("GMT", "UTC")}`;
}

function formatOf(zone: string | null): Intl.DateTimeFormat {
  const shape = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" } as const;
  try {
    return new Intl.DateTimeFormat("en-GB", zone === null ? shape : { ...shape, timeZone: zone });
  } catch (thrown) {
    const sentence = `there is no time zone "${zone}"; write it as in Europe/Helsinki`;
    throw new NightError("usage.invalid", sentence, {}, { cause: thrown });
  }
}

/** The plan for a person at a terminal: a screenful, the deciding things first. */
export function planText(answer: PlanAnswer, writer: TimeWriter): string {
  const { plan, kpFeed, auroraNow } = answer;
  const rows: readonly (readonly [label: string, text: string])[] = [
    ["Darkness", plan.darknessSentence],
    ["", sunLine(plan, writer)],
    ["Watch", watchLine(plan, writer)],
    ["Moon", plan.moonSentence],
    ["", moonLine(plan, writer)],
    ["Sky", skyLine(plan)],
    ["Aurora", auroraLine(plan, writer)],
    ...(kpFeed.kind === "none"
      ? []
      : [["Kp now", [kpFeed.sentence, auroraNow?.sentence ?? ""].join(" ").trim()] as const]),
    ["Face", facingLine(plan)],
    ["Stars", trailLine(plan)],
    ["Begin", beginLine(plan)],
    ["", plan.stoppingDown.sentence],
    ["Yield", yieldLine(plan)],
    ["Power", powerLine(plan)],
    ["Cold", plan.cold.sentence],
  ];
  return [
    headline(plan, writer),
    "",
    ...rows.flatMap(([label, text]) => labelled(label, text)),
    "",
    ...kpTable(plan.aurora),
    ...hourTable(plan.auroraHours, writer),
    "",
    ...cautionLines(plan),
    "",
  ].join("\n");
}

function headline(plan: NightPlan, { zone }: TimeWriter): string {
  const { latitudeDeg, longitudeDeg, placeName, date } = plan;
  const north = `${Math.abs(latitudeDeg).toFixed(3)}° ${latitudeDeg < 0 ? "S" : "N"}`;
  const east = `${Math.abs(longitudeDeg).toFixed(3)}° ${longitudeDeg < 0 ? "W" : "E"}`;
  const where = placeName === null ? `${north}, ${east}` : `${placeName} (${north}, ${east})`;
  const by = plan.zone === null ? "by longitude" : `in ${plan.zone}`;
  return `Night of ${date} at ${where}; times in ${zone}\nThe date is the evening's ${by}.`;
}

function sunLine(plan: NightPlan, { time }: TimeWriter): string {
  const stretch = (name: string, start: string | null, end: string | null): string[] =>
    start === null && end === null ? [] : [`${name} ${time(start)} to ${time(end)}`];
  const parts = [
    ...stretch("Sun down", plan.sunset, plan.sunrise),
    ...stretch("below −6°", plan.civilDarkStart, plan.civilDarkEnd),
    ...stretch("−12°", plan.nauticalDarkStart, plan.nauticalDarkEnd),
    ...stretch("−18°", plan.darkStart, plan.darkEnd),
  ];
  return parts.join("; ");
}

function watchLine({ watch }: NightPlan, { time }: TimeWriter): string {
  if (watch === null) return "None tonight.";
  const [start, end] = [time(watch.start), time(watch.end)];
  const day = start === end ? " of the next day" : "";
  return `${start} to ${end}${day}, ${hoursText(watch.hours)}. ${watch.sentence}`;
}

function moonLine(plan: NightPlan, { time }: TimeWriter): string {
  const { moonHighest: highest } = plan;
  const parts = moonEvents(plan).map(({ kind, at }) => `${kind} ${time(at)}`);
  if (highest !== null) {
    const { altitudeDeg, azimuthDeg } = highest;
    parts.push(
      `highest at ${time(highest.time)}: ${Math.round(altitudeDeg)}° up at ${Math.round(azimuthDeg)}°`,
    );
  }
  const inFrame = moonInFrameText(plan, time);
  if (inFrame !== null) parts.push(`in the frame ${inFrame}`);
  return parts.join("; ");
}

const LEVELS = "▁▂▃▄▅▆▇█";

/** The curve of the framed sky's brightness from sunset to sunrise; a higher block is brighter. */
function skyLine({ samples, watch }: NightPlan): string {
  const night = samples.filter(({ sunAltitudeDeg }) => sunAltitudeDeg < -6);
  if (night.length === 0) return "Too bright all night.";
  const curve = night
    .filter((_, index) => index % Math.ceil(night.length / 60) === 0)
    .map(({ skyMagArcsec2 }) => {
      const share = Math.min(1, Math.max(0, (22 - skyMagArcsec2) / 8));
      return LEVELS[Math.round(share * (LEVELS.length - 1))];
    })
    .join("");
  const seen = samples.filter(
    ({ time }) => watch === null || (time >= watch.start && time <= watch.end),
  );
  const darkest = Math.max(...seen.map(({ skyMagArcsec2 }) => skyMagArcsec2));
  return `${curve} darkest ${darkest.toFixed(1)} mag/arcsec²`;
}

function auroraLine(plan: NightPlan, { time }: TimeWriter): string {
  const latitude = `${plan.geomagneticLatitudeDeg.toFixed(1)}°`.replace("-", "−");
  const dipole = `${plan.dipoleLatitudeDeg.toFixed(1)}°`.replace("-", "−");
  const covered = plan.fieldModelCoversDate ? "" : "; field of the nearest year known";
  // Seen from within the oval it is nearest by magnetic day.
  const isWithin = plan.aurora[2]!.side === "equatorward";
  const oval = isWithin ? "the oval lies farthest off about" : "the oval comes nearest about";
  return (
    `${plan.auroraSentence} Geomagnetic latitude ${latitude} corrected (${dipole} by the dipole${covered}); ` +
    `${oval} ${time(plan.magneticMidnight)}.`
  );
}

function compassText({ facingCompassBearingDeg, compassTrust }: NightPlan): string {
  if (facingCompassBearingDeg === null) return planWords.facing.noCompass;
  const bearing = planWords.facing.compass(`${Math.round(facingCompassBearingDeg)}°`);
  return compassTrust === "good" ? bearing : `${bearing}, ${planWords.facing.unsureCompass}`;
}

function facingLine(plan: NightPlan): string {
  return (
    `${Math.round(plan.facingBearingDeg)}° true, ${compassText(plan)} ` +
    `(${plan.facing}), frame's centre ${Math.round(plan.facingElevationDeg)}° up: ${plan.facingWhy}.`
  );
}

function trailLine({ trail }: NightPlan): string {
  const seconds = (value: number | null): string =>
    value === null ? "any" : `${value.toFixed(1)} s`;
  return (
    `${trail.recommendation} NPF ${seconds(trail.npfSimpleSeconds)} (strict, at the framed declination: ` +
    `${seconds(trail.npfStrictSeconds)}), ${trail.toleratedPx} pixels of drift ${seconds(trail.centreDriftSeconds)} ` +
    `(worst corner ${seconds(trail.fastestDriftSeconds)}), quick rule ${seconds(trail.quickRuleSeconds)}.`
  );
}

function beginLine({ start, kit }: NightPlan): string {
  return (
    `quiet sky ${exposureText(start.quiet)}; curtains running ${exposureText(start.lively)} ` +
    `(common practice), with "${kit.name}".`
  );
}

function exposureText({ exposureSeconds, iso, fNumber }: Exposure): string {
  return `${exposureSeconds} s, ISO ${iso}, f/${fNumber}`;
}

function yieldLine({ budget, watch }: NightPlan): string {
  if (watch === null) return "–";
  const pace = ({ frames, filmSeconds, gigabytes, cards }: PaceBudget): string =>
    `${frames} frames, ${durationText(filmSeconds)} of film, ${Math.round(gigabytes)} GB` +
    (cards > 1 ? ` (${cards} cards)` : "");
  return `quiet ${pace(budget.quiet)}; lively ${pace(budget.lively)}; at ${budget.framesPerSecond} frames/s.`;
}

function powerLine({ budget, watch, cold }: NightPlan): string {
  const share = `${Math.round(budget.batteryShare * 100)} %`;
  const { temperatureC } = cold;
  const degrees = `${temperatureC < 0 ? "−" : ""}${Math.abs(Math.round(temperatureC))} °C`;
  const each = `one lasts ${hoursText(budget.batteryHours)}, ${share} of it left at ${degrees}`;
  if (watch === null) return `${each}.`;
  const { batteries } = budget;
  return `${batteries} charged ${batteries === 1 ? "battery" : "batteries"}: ${each}.`;
}

function kpTable(views: readonly AuroraView[]): readonly string[] {
  const cell = (text: string): string => text.padStart(6);
  const row = (label: string, of: (view: AuroraView) => string): string =>
    label.padEnd(LABEL_WIDTH + 16) + views.map((view) => cell(of(view))).join("");
  const degrees = (view: AuroraView, elevation: number): string =>
    view.side === "overhead" ? "above" : elevation < 0 ? "–" : `${Math.round(elevation)}°`;
  return [
    row("Kp", ({ kp }) => String(kp)),
    row("Boundary at midnight", ({ boundaryDeg }) => `${boundaryDeg.toFixed(1)}°`),
    row("Lower border, 110 km", (view) => degrees(view, view.borderElevationDeg)),
    row("Tall rays, 250 km", (view) => degrees(view, view.topElevationDeg)),
  ];
}

/** The Kp each hour of the watch takes; hours without a published row are left out. */
function hourTable(hours: readonly AuroraHour[], { time }: TimeWriter): readonly string[] {
  const known = hours.filter(
    ({ kpForTops, kpForOverhead }) => kpForTops !== null || kpForOverhead !== null,
  );
  if (known.length === 0) return [];
  // Every other hour when the night is long.
  const shown = known.filter((_, index) => index % Math.ceil(known.length / 10) === 0);
  const { kp, doubt } = planWords.hours;
  const cellWidth = Math.max(6, ...shown.map((hour) => time(hour.time).length + 1));
  const row = (label: string, of: (hour: AuroraHour) => string): string =>
    label.padEnd(LABEL_WIDTH + 16) + shown.map((hour) => of(hour).padStart(cellWidth)).join("");
  return [
    "",
    row("By the hour", (hour) => time(hour.time)),
    row("Kp for tall rays low", ({ kpForTops, isDoubtful }) => kp(kpForTops, isDoubtful)),
    row("Kp for overhead", ({ kpForOverhead, isDoubtful }) => kp(kpForOverhead, isDoubtful)),
    ...(shown.some(({ isDoubtful }) => isDoubtful) ? [doubt] : []),
  ];
}

function cautionLines({ cautions }: NightPlan): readonly string[] {
  const pressing = cautions.filter(({ isPressing }) => isPressing);
  const rest = cautions.filter(({ isPressing }) => !isPressing).map(({ title }) => title);
  return [
    ...pressing.flatMap(({ title, text }) => labelled("Caution", `${title}: ${text}`)),
    ...labelled(
      pressing.length === 0 ? "Caution" : "",
      `${pressing.length === 0 ? "Mind" : "Mind also"}: ${rest.join(", ").toLowerCase()}. ${CAUTIONS_DEFER}`,
    ),
  ];
}

/** The rehearsal as a table and a picture of four curves over the night. */
export function tonightText(result: TonightResult, { time }: TimeWriter): string {
  const band = ({ p10, p50, p90 }: Band, digits: number, unit: string): string =>
    `${p50.toFixed(digits)}${unit} (${p10.toFixed(digits)} to ${p90.toFixed(digits)})`;
  const percent = (of: Band): Band => ({ p10: of.p10 * 100, p50: of.p50 * 100, p90: of.p90 * 100 });
  const rows: readonly (readonly [string, string])[] = [
    ["Frames", band(result.frames, 0, "")],
    ["Well exposed", band(percent(result.wellExposedShare), 0, " %")],
    ["Clipped", band(percent(result.clippedShare), 1, " %")],
    ["Under cloud", cloudText(result, band(percent(result.cloudedShare), 0, " %"))],
    ["Clear and well", band(percent(result.clearAndWellShare), 0, " %")],
    ["Longest gap", band(result.longestGapSeconds, 1, " s")],
    [
      "ISO",
      result.isoShares.map(({ iso, share }) => `${iso}: ${Math.round(share * 100)} %`).join(", "),
    ],
    ["Card at dawn", `${band(result.cardFreeGigabytesAtDawn, 0, " GB")} free`],
    [
      "Power at dawn",
      `battery ${result.batteries} of ${result.batteries} at ${result.batteryPercentAtDawn} %`,
    ],
  ];
  const { slices, activity, cloudiness } = result;
  const ends = `${time(slices[0]?.time ?? null)} to ${time(slices.at(-1)?.time ?? null)}`;
  return [
    `Rehearsed against ${result.skyCount} simulated skies, ${activity} activity, ${CLOUDS[cloudiness]};`,
    "median (10 % to 90 % of the skies)",
    "",
    ...rows.flatMap(([label, text]) => labelled(label, text, 15)),
    "",
    `Medians from ${ends}`,
    curveRow(
      "Sky",
      slices.map((slice) => -slice.skyMagArcsec2.p50),
      (value) => `${(-value).toFixed(1)} mag/arcsec²`,
    ),
    curveRow(
      "Exposure",
      slices.map((slice) => Math.log2(slice.exposureSeconds.p50)),
      (value) => `${(2 ** value).toFixed(1)} s`,
    ),
    curveRow(
      "ISO",
      slices.map((slice) => Math.log2(slice.iso.p50)),
      (value) => `ISO ${Math.round(2 ** value)}`,
    ),
    curveRow(
      "Under cloud",
      slices.map((slice) => slice.cloudedShare),
      (value) => `${Math.round(value * 100)} %`,
    ),
    "",
    ...wrap(result.sentence, WIDTH),
    "",
  ].join("\n");
}

const CLOUDS: Readonly<Record<TonightResult["cloudiness"], string>> = {
  clear: "no clouds",
  some: "some clouds",
  changing: "changing clouds",
};

function cloudText({ cloudedOutShare }: TonightResult, shares: string): string {
  const whole = Math.round(cloudedOutShare * 100);
  return whole === 0 ? shares : `${shares}; ${whole} % of the skies are clouded over throughout`;
}

/** A curve from its lowest to its highest value, and both of them in words. */
function curveRow(
  label: string,
  values: readonly number[],
  words: (value: number) => string,
): string {
  const [low, high] = [Math.min(...values), Math.max(...values)];
  const curve = values.map((value) => {
    const share = high - low < 1e-9 ? 0 : (value - low) / (high - low);
    return LEVELS[Math.round(share * (LEVELS.length - 1))];
  });
  return `${label.padEnd(15)}${curve.join("")} ${words(low)} to ${words(high)}`;
}

function labelled(label: string, text: string, width = LABEL_WIDTH): readonly string[] {
  if (text === "") return [];
  return wrap(text, WIDTH - width).map(
    (line, index) => (index === 0 ? label : "").padEnd(width) + line,
  );
}

function wrap(text: string, width: number): readonly string[] {
  const lines: string[] = [];
  let line = "";
  for (const word of text.split(" ")) {
    if (line !== "" && line.length + 1 + word.length > width) {
      lines.push(line);
      line = word;
    } else line = line === "" ? word : `${line} ${word}`;
  }
  return [...lines, line];
}

function hoursText(hours: number): string {
  const minutes = Math.round(hours * 60);
  return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")} min`;
}

function durationText(seconds: number): string {
  const whole = Math.round(seconds);
  return whole < 60 ? `${whole} s` : `${Math.floor(whole / 60)} min ${whole % 60} s`;
}
