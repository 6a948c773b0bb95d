import { existsSync } from "node:fs";
import { join } from "node:path";
import sharp from "sharp";
import type { GapNotice, SurgeNotice } from "../../core/frames/notices.ts";
import type { GuardNotice } from "../../core/watch/guardNotice.ts";
import type { DeliverResult } from "../../core/api/deliverMessages.ts";
import type { Keeper } from "../../core/frames/keepers.ts";
import { gapsOf, surgesOf } from "../../core/frames/timeline.ts";
import { isAway } from "../../core/frames/reconcile.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { isPlaced } from "../../core/sky/place.ts";
import type { NightInfo } from "../archive/nightInfo.ts";
import { guardsKey, type KeptState } from "../archive/stateKeys.ts";
import { keyOf } from "../archive/frameKey.ts";
import type { WorksInput } from "./worksInput.ts";
import { drawCurves } from "./reportCurves.ts";
import { clock, escapeHtml, listSection, section, table, tableOr } from "./reportHtml.ts";
import { planSection } from "./reportPlan.ts";

type ReportInput = WorksInput & {
  readonly keepers: readonly Keeper[];
  readonly result: DeliverResult;
};

/** The report of a night: one HTML file that needs nothing else, on the screen and on paper. */
export async function writeReport(input: ReportInput): Promise<string> {
  const { night, result } = input;
  const title = night.info?.name ?? "A night";
  const cameras = [...new Set(night.frames.map((frame) => frame.cameraId))].sort();
  const perCamera = cameras.map((cameraId) => cameraSection(input, cameraId, cameras.length > 1));
  return [
    `<!doctype html><html lang="en"><head><meta charset="utf-8">`,
    `<meta name="viewport" content="width=device-width, initial-scale=1">`,
    `<meta name="color-scheme" content="dark light">`,
    `<title>${escapeHtml(title)}: report of the night</title><style>${STYLE}</style></head><body>`,
    // The address says by which light it is read; it may run no script.
    `<p id="day" class="light"><a href="#night" id="night">By night</a> <a href="#day">By day</a></p>`,
    `<h1>${escapeHtml(title)}</h1>`,
    headline(input),
    planSection(input.night),
    await keogramSection(input),
    ...perCamera,
    setsSection(input),
    keepersSection(input),
    listSection("Files delivered", [
      ...result.files.map((file) => `${file.label}: ${file.path}, ${megabytes(file.bytes)}`),
    ]),
    listSection("Remarks", result.remarks),
    `</body></html>`,
    "",
  ].join("\n");
}

/** Red on black unless the address says #day: anyone who opens it in the dark keeps dark-adapted eyes. */
const STYLE = `
:root{color-scheme:dark;--paper:#000;--ink:#f00;--soft:#ec0000;--line:#520000;background:var(--paper)}
:root:has(#day:target){color-scheme:light;--paper:#fff;--ink:#1a1a1a;--soft:#444;--line:#bbb}
body{font:15px/1.45 system-ui,sans-serif;color:var(--ink);background:var(--paper);max-width:960px;margin:2rem auto;padding:0 1rem}
h1{font-size:1.6rem;margin:0 0 .2rem}h2{font-size:1.15rem;margin:1.8rem 0 .5rem;border-bottom:1px solid var(--line)}
table{border-collapse:collapse;width:100%}th,td{text-align:left;padding:.25rem .6rem .25rem 0;border-bottom:1px solid var(--line);vertical-align:top}
img,svg{max-width:100%;height:auto}figure{margin:0}figcaption{font-size:.85rem;color:var(--soft)}
.keepers{display:grid;grid-template-columns:repeat(auto-fill,minmax(200px,1fr));gap:.8rem}
.light{display:flex;gap:.5rem;margin:0}.light a{color:inherit;padding:.8rem .4rem}
:root:not(:has(#day:target)) .picture{display:block;isolation:isolate;background:#f00}
:root:not(:has(#day:target)) .picture img{display:block;filter:grayscale(1);mix-blend-mode:multiply}
:root:not(:has(#day:target)) svg [stroke]{stroke:#c00000}
:root:not(:has(#day:target)) svg :is(text,[fill]:not([fill=none])){fill:#f00}
@page{margin:0}
@media print{:root{print-color-adjust:exact}.light{display:none}body{margin:0;padding:1cm;max-width:none}section,figure,tr{break-inside:avoid}h2{break-after:avoid}}`;

function headline({ night }: ReportInput): string {
  const kept = night.frames.filter((frame) => frame.status === "kept");
  const missing = night.frames.filter((frame) => frame.status === "missing" && !isAway(frame));
  const times = kept.flatMap((frame) => (frame.openedUtcMs === null ? [] : [frame.openedUtcMs]));
  const span =
    times.length === 0 ? "" : `, ${clock(Math.min(...times))} to ${clock(Math.max(...times))} UT`;
  const place = night.info === null ? "" : placeText(night.info);
  const lost = missing.length === 0 ? "none missing" : `${missing.length} missing`;
  return `<p>${escapeHtml(place)}<br>${kept.length} frames kept, ${lost}${span}.</p>`;
}

function placeText(info: NightInfo): string {
  if (!isPlaced(info)) return info.placeName;
  const latitude = `${Math.abs(info.latitudeDeg).toFixed(2)}° ${info.latitudeDeg < 0 ? "S" : "N"}`;
  const longitude = `${Math.abs(info.longitudeDeg).toFixed(2)}° ${info.longitudeDeg < 0 ? "W" : "E"}`;
  return [info.placeName, `${latitude}, ${longitude}`].filter((part) => part !== "").join(", ");
}

async function keogramSection({ outDir, result }: ReportInput): Promise<string> {
  const file = result.files.find((one) => one.kind === "keogram");
  const path = file === undefined ? "" : join(outDir, file.path);
  if (file === undefined || !existsSync(path)) return "";
  const jpeg = await sharp(path)
    .resize({ width: 1600, withoutEnlargement: true })
    .jpeg()
    .toBuffer();
  const alt = "Keogram: time from left to right, the sky of the frame's middle upright";
  return section("Keogram", picture(alt, jpeg));
}

function cameraSection(input: ReportInput, cameraId: string, isNamed: boolean): string {
  const frames = input.night.frames.filter((frame) => frame.cameraId === cameraId);
  const { catalogue } = input.night;
  const guards = catalogue.getState<KeptState["guards"]>(guardsKey(cameraId)) ?? [];
  const heading = isNamed ? `Camera ${cameraId}` : "Sky and exposure";
  return [
    section(heading, drawCurves(frames)),
    surgeTable(surgesOf(frames)),
    gapTable(gapsOf(frames)),
    guardTable(guards),
  ].join("\n");
}

function surgeTable(surges: readonly SurgeNotice[]): string {
  const rows = surges.map((surge) => [
    clock(surge.startUtcMs),
    surge.endUtcMs === null ? "to the end" : clock(surge.endUtcMs),
    `${surge.riseStops.toFixed(1)} stops`,
  ]);
  return section("Surges", tableOr(["from (UT)", "to (UT)", "rise"], rows, "No surge."));
}

function gapTable(gaps: readonly GapNotice[]): string {
  const rows = gaps.map((gap) => [
    clock(gap.startUtcMs),
    gap.endUtcMs === null ? "to the end" : clock(gap.endUtcMs),
    gap.why,
  ]);
  return section("Gaps", tableOr(["from (UT)", "to (UT)", "why"], rows, "No gap."));
}

function guardTable(guards: readonly GuardNotice[]): string {
  const rows = guards.map((guard) => [clock(guard.sinceUtcMs), guard.guard, guard.sentence]);
  return section("Guards", tableOr(["since (UT)", "guard", "what"], rows, "No guard spoke."));
}

function setsSection({ ready }: ReportInput): string {
  const rows = ready.map(({ set, frames }) => [
    set.name,
    String(frames.length),
    set.startUtcMs === null ? "" : clock(set.startUtcMs),
    set.endUtcMs === null ? "" : clock(set.endUtcMs),
    exposureRange(frames),
  ]);
  const heads = ["set", "frames", "from (UT)", "to (UT)", "exposures"];
  return section("Frame sets", table(heads, rows));
}

function exposureRange(frames: readonly FrameRecord[]): string {
  const exposures = frames.map((frame) => frame.happened ?? frame.ordered);
  const range = (values: readonly number[], digits: number): string => {
    const [low, high] = [Math.min(...values), Math.max(...values)];
    return low === high ? low.toFixed(digits) : `${low.toFixed(digits)} to ${high.toFixed(digits)}`;
  };
  const seconds = range(
    exposures.map((one) => one.exposureSeconds),
    1,
  );
  const iso = range(
    exposures.map((one) => one.iso),
    0,
  );
  return `${seconds} s, ISO ${iso}`;
}

function keepersSection({ keepers, measured, night }: ReportInput): string {
  const figures = keepers.map((keeper) => {
    const frame = night.frames.find((one) => keyOf(one) === keyOf(keeper));
    const thumbnail = measured.frames.get(keyOf(keeper))!.thumbnailJpeg;
    const opened = frame?.openedUtcMs ?? null;
    const time = opened === null ? "" : `, ${clock(opened)} UT`;
    const caption = `Frame ${keeper.frameIndex}${time}: ${keeper.reasons.join(", ")}`;
    return `<figure>${picture(`Frame ${keeper.frameIndex}`, thumbnail)}<figcaption>${escapeHtml(caption)}</figcaption></figure>`;
  });
  return section("Keepers", `<div class="keepers">${figures.join("\n")}</div>`);
}

function megabytes(bytes: number): string {
  return `${(bytes / 1e6).toFixed(1)} MB`;
}

/** A picture inside the file; by night its light is turned into red. */
function picture(alt: string, jpeg: Uint8Array): string {
  return `<span class="picture"><img alt="${escapeHtml(alt)}" src="${dataUri(jpeg)}"></span>`;
}

function dataUri(jpeg: Uint8Array): string {
  return `data:image/jpeg;base64,${Buffer.from(jpeg).toString("base64")}`;
}
