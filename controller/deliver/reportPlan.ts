import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { DEFAULT_KIT_INPUT, resolveKit } from "../../core/plan/kit.ts";
import { planNight, type NightPlan } from "../../core/plan/plan.ts";
import { isPlaced } from "../../core/sky/place.ts";
import { eveningDate } from "../archive/nightFolder.ts";
import type { NightInfo } from "../archive/nightInfo.ts";
import { PLAN_KEY, type KeptState } from "../archive/stateKeys.ts";
import type { NightToDeliver } from "./nightToDeliver.ts";
import { clock, percent, section, table } from "./reportHtml.ts";

/** The evening's plan beside what happened. */
export function planSection(night: NightToDeliver): string {
  if (night.info === null) return "";
  if (!isPlaced(night.info)) {
    const why = "The night's place was not given, so it cannot be set against a plan.";
    return section("Plan and night", `<p>${why}</p>`);
  }
  const plan = planOfNight(night, night.info);
  const kept = night.frames.filter(({ status }) => status === "kept");
  const rows = [...timeRows(plan, kept), ...yieldRows(plan, kept)];
  const kit = `${plan.kit.name}, ${plan.kit.focalLengthMm} mm at f/${plan.kit.fNumberWidest}`;
  return section("Plan and night", table([`with ${kit}`, "planned", "happened"], rows));
}

/**
 * The plan is made again from what was kept of it: the same as on the evening. A night of before
 * plans were kept is planned with the usual kit.
 */
function planOfNight({ catalogue }: NightToDeliver, info: NightInfo): NightPlan {
  // The folder's date is the evening by longitude, whatever zone the plan was asked in.
  const { zone: _, ...kept }: Partial<NonNullable<KeptState["plan"]>> =
    catalogue.getState<KeptState["plan"]>(PLAN_KEY) ?? {};
  return planNight({
    ...kept,
    kit: resolveKit(kept.kit ?? DEFAULT_KIT_INPUT),
    latitudeDeg: info.latitudeDeg,
    longitudeDeg: info.longitudeDeg,
    ...(info.elevationM === undefined ? {} : { elevationM: info.elevationM }),
    dateIso: eveningDate(info),
    placeName: info.placeName,
  });
}

type Row = readonly [what: string, planned: string, happened: string];

function timeRows(plan: NightPlan, kept: readonly FrameRecord[]): readonly Row[] {
  const times = kept.flatMap(({ openedUtcMs }) => (openedUtcMs === null ? [] : [openedUtcMs]));
  const edge = (name: string, at: number): string =>
    times.length === 0 ? "no frame" : `${name} frame ${clock(at)}`;
  const planned = (iso: string | undefined): string =>
    iso === undefined ? "none" : clock(Date.parse(iso));
  return [
    ["Watch from (UT)", planned(plan.watch?.start), edge("first", Math.min(...times))],
    ["Watch until (UT)", planned(plan.watch?.end), edge("last", Math.max(...times))],
    [
      "Dark, Sun below −18° (UT)",
      darkText(plan),
      `${darkCount(times, plan)} of ${times.length} frames in it`,
    ],
    ["Moon", `${plan.moonPhaseName}, ${percent(plan.moonIlluminatedFraction)} lit`, ""],
  ];
}

function yieldRows(plan: NightPlan, kept: readonly FrameRecord[]): readonly Row[] {
  const { quiet, lively } = plan.budget;
  const longest = Math.max(0, ...kept.map(({ happened }) => happened?.exposureSeconds ?? 0));
  const highestIso = Math.max(0, ...kept.map(({ happened }) => happened?.iso ?? 0));
  const bytes = kept.reduce((sum, { file }) => sum + (file?.bytes ?? 0), 0);
  return [
    ["Longest exposure", `${plan.maxExposureSeconds} s`, `${longest.toFixed(1)} s`],
    ["Highest ISO", String(plan.kit.isoComfortMax), String(highestIso)],
    ["Frames, quiet to lively sky", `${quiet.frames} to ${lively.frames}`, String(kept.length)],
    [
      "Data on the card, and kept here",
      `${quiet.gigabytes.toFixed(0)} to ${lively.gigabytes.toFixed(0)} GB`,
      `${(bytes / 1e9).toFixed(2)} GB`,
    ],
  ];
}

function darkText(plan: NightPlan): string {
  if (plan.darkness !== "window") return plan.darkness === "allDay" ? "all day" : "never";
  const at = (iso: string | null): string => (iso === null ? "–" : clock(Date.parse(iso)));
  return `${at(plan.darkStart)} to ${at(plan.darkEnd)}`;
}

function darkCount(times: readonly number[], plan: NightPlan): number {
  if (plan.darkness !== "window") return plan.darkness === "allDay" ? times.length : 0;
  const [from, to] = [Date.parse(plan.darkStart ?? ""), Date.parse(plan.darkEnd ?? "")];
  // An edge that lies outside the searched day does not bound the night.
  return times.filter((time) => !(time < from) && !(time > to)).length;
}
