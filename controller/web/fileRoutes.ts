import * as v from "valibot";

import type { FoundFrames, FrameSearch } from "../../core/api/upkeepMessages.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import type { DeliverService } from "../deliver/deliverService.ts";
import type { UpkeepJobs } from "../deliver/upkeepJobs.ts";
import type { Route, RouteRequest } from "./route.ts";
import { JOB_STATES } from "../../core/api/workProgress.ts";

const PART = "Morning";

/** Frames in one answer; the count says how many there are. */
const FOUND_MAX = 200;

const numberInQuery = (name: string) =>
  v.optional(
    v.pipe(
      v.string(),
      v.transform(Number),
      v.number(`${name} must be a number.`),
      v.finite(`${name} must be a number.`),
    ),
  );
const rule = v.picklist(["sentinel", "unpicked"], "A rule is sentinel or unpicked.");
const orderSchema = v.variant(
  "kind",
  [
    v.object({ kind: v.literal("verify") }),
    v.object({
      kind: v.literal("export"),
      targetDir: v.pipe(v.string("Name a folder."), v.trim(), v.minLength(1, "Name a folder.")),
      setIds: v.optional(v.array(v.string("A frame set's id is a text.")), []),
    }),
    v.object({
      kind: v.literal("prune"),
      rule,
      previewCount: v.number("previewCount must be the number that was shown."),
    }),
  ],
  "The work is one of verify, export, prune.",
);
const jobSchema = v.looseObject({
  jobId: v.string(),
  state: v.picklist(JOB_STATES),
  /** null until the work has begun. */
  progress: v.nullable(
    v.looseObject({ label: v.string(), share: v.number(), secondsLeft: v.nullable(v.number()) }),
  ),
  sentences: v.array(v.string()),
});
const foundSchema = v.object({
  count: v.number(),
  frames: v.array(
    v.object({
      cameraId: v.string(),
      frameIndex: v.number(),
      openedUtcMs: v.number(),
      skyLuminanceCdM2: v.nullable(v.number()),
      hasFile: v.boolean(),
    }),
  ),
});

type FileRouteParts = {
  readonly find: DeliverService["find"];
  readonly upkeep: Pick<UpkeepJobs, "jobs" | "outlook" | "start" | "cancel">;
};

/** The routes that find frames, and that copy, check and prune a night's files. */
export function fileRoutes({ find, upkeep }: FileRouteParts): readonly Route[] {
  const answer = { kind: "json", name: "UpkeepJob", schema: jobSchema } as const;
  const base = "/api/nights/:nightId";
  return [
    {
      method: "get",
      path: `${base}/find`,
      summary: `Frames by time (UTC ms), brightness (cd/m²) and surge; the first ${FOUND_MAX}.`,
      part: PART,
      query: {
        camera: v.optional(v.string()),
        from: numberInQuery("from"),
        to: numberInQuery("to"),
        brighter: numberInQuery("brighter"),
        darker: numberInQuery("darker"),
        surge: v.optional(v.picklist(["0", "1"], "surge must be 0 or 1.")),
      },
      answer: { kind: "json", name: "FoundFrames", schema: foundSchema },
      handle: ({ params, query }) => foundOf(find, params["nightId"] ?? "", searchOf(query)),
    },
    {
      method: "get",
      path: `${base}/upkeep`,
      summary: "Work on a night's files since the program started.",
      part: PART,
      answer: { kind: "json", schema: v.array(jobSchema) },
      handle: ({ params }) => upkeep.jobs(params["nightId"] ?? ""),
    },
    {
      method: "post",
      path: `${base}/upkeep`,
      summary: "Checks a night's files, copies them elsewhere and reads them back, or prunes.",
      part: PART,
      body: orderSchema,
      answer,
      handle: ({ params, body }) =>
        upkeep.start(params["nightId"] ?? "", v.parse(orderSchema, body)),
    },
    {
      method: "get",
      path: `${base}/prune`,
      summary: "What a rule would delete; deletes nothing.",
      part: PART,
      query: { rule },
      answer: {
        kind: "json",
        name: "PruneOutlook",
        schema: v.object({ rule: v.string(), previewCount: v.number(), bytes: v.number() }),
      },
      handle: ({ params, query }) =>
        upkeep.outlook(params["nightId"] ?? "", v.parse(rule, query["rule"])),
    },
    {
      method: "post",
      path: "/api/upkeep/:jobId/cancel",
      summary: "Ends work on files; whole copies stay.",
      part: PART,
      answer,
      handle: ({ params }) => upkeep.cancel(params["jobId"] ?? ""),
    },
  ];
}

function searchOf(query: RouteRequest["query"]): FrameSearch {
  const number = (name: string): number | null =>
    query[name] === undefined ? null : Number(query[name]);
  return {
    cameraId: query["camera"] === undefined ? null : String(query["camera"]),
    fromUtcMs: number("from"),
    toUtcMs: number("to"),
    brighterThanCdM2: number("brighter"),
    darkerThanCdM2: number("darker"),
    isInSurge: query["surge"] === "1",
  };
}

function foundOf(find: DeliverService["find"], nightId: string, search: FrameSearch): FoundFrames {
  const { cameraId, fromUtcMs, toUtcMs, brighterThanCdM2, darkerThanCdM2 } = search;
  const named = <K extends string>(key: K, value: number | string | null) =>
    value === null ? {} : { [key]: value };
  const among = search.isInSurge
    ? find(nightId, "surge")
    : find(nightId, {
        ...named("cameraId", cameraId),
        ...named("fromUtcMs", fromUtcMs),
        ...named("toUtcMs", toUtcMs),
        ...named("luminanceCdM2Min", brighterThanCdM2),
        ...named("luminanceCdM2Max", darkerThanCdM2),
      });
  const found = among.filter((frame) => isSought(frame, search));
  return { count: found.length, frames: found.slice(0, FOUND_MAX).flatMap(shortOf) };
}

/** The catalogue has answered all of this already, except among the frames of surges. */
function isSought(frame: FrameRecord, search: FrameSearch): boolean {
  const { openedUtcMs: at } = frame;
  const sky = frame.reading?.skyLuminanceCdM2 ?? null;
  const { brighterThanCdM2: least, darkerThanCdM2: most } = search;
  return (
    at !== null &&
    (search.cameraId === null || frame.cameraId === search.cameraId) &&
    (search.fromUtcMs === null || at >= search.fromUtcMs) &&
    (search.toUtcMs === null || at <= search.toUtcMs) &&
    (least === null || (sky !== null && sky >= least)) &&
    (most === null || (sky !== null && sky <= most))
  );
}

function shortOf(frame: FrameRecord): FoundFrames["frames"] {
  const { cameraId, frameIndex, openedUtcMs, reading, status, file } = frame;
  if (openedUtcMs === null) return [];
  const skyLuminanceCdM2 = reading?.skyLuminanceCdM2 ?? null;
  const hasFile = status === "kept" && file !== null;
  return [{ cameraId, frameIndex, openedUtcMs, skyLuminanceCdM2, hasFile }];
}
