import { extname } from "node:path";

import * as v from "valibot";

import {
  DEFAULT_DELIVER_ORDER,
  type DeliverJob,
  type DeliverOrder,
} from "../../core/api/deliverMessages.ts";
import { frameRecordSchema } from "../../core/api/schemas.ts";
import { NightError } from "../../core/errors.ts";
import type { SetEdits } from "../../core/frames/frameSets.ts";
import { utcMs } from "../../core/units.ts";
import type { DeliverService } from "../deliver/deliverService.ts";
import type { Route } from "./route.ts";
import { JOB_STATES } from "../../core/api/workProgress.ts";

const PART = "Morning";

const wholeSize = (name: string) => {
  const sentence = `${name} must be a whole number of pixels from 16 to 4096.`;
  return v.pipe(
    v.number(sentence),
    v.integer(sentence),
    v.minValue(16, sentence),
    v.maxValue(4096, sentence),
  );
};
const flag = (name: string) => v.optional(v.boolean(`${name} must be true or false.`));
const moment = (name: string) =>
  v.optional(v.nullable(v.pipe(v.number(`${name} must be UTC milliseconds.`), v.finite())));

const orderSchema = v.strictObject(
  {
    setIds: v.optional(v.array(v.string("A frame set's id is a text."))),
    fromUtcMs: moment("fromUtcMs"),
    toUtcMs: moment("toUtcMs"),
    framesPerSecond: v.optional(
      v.picklist([24, 25, 30], "A film runs at 24, 25 or 30 frames a second."),
    ),
    videoBox: v.optional(
      v.object({ widthPx: wholeSize("The film's width"), heightPx: wholeSize("Its height") }),
    ),
    sequence: v.optional(
      v.picklist(["jpeg", "tiff16", "none"], "A sequence is one of jpeg, tiff16, none."),
    ),
    videos: v.optional(
      v.array(v.picklist(["h264", "vp9", "av1"], "A film is one of h264, vp9, av1.")),
    ),
    keogram: flag("keogram"),
    starTrail: flag("starTrail"),
    contactSheet: flag("contactSheet"),
    report: flag("report"),
    sidecars: flag("sidecars"),
    resume: flag("resume"),
  },
  (issue) => `A delivery has no option called ${issue.received}.`,
);

const cutSchema = v.object({ cameraId: v.string(), frameIndex: v.number() });
const editsSchema = v.object({
  cuts: v.array(cutSchema),
  joins: v.array(cutSchema),
  names: v.record(v.string(), v.string()),
  marks: v.record(v.string(), v.object({ in: v.number(), out: v.number() })),
});
const pickSchema = v.object({
  cameraId: v.string("cameraId must be a text."),
  frameIndex: v.pipe(v.number("frameIndex must be a number."), v.integer()),
  /** null takes an earlier word back. */
  pick: v.nullable(v.picklist(["keep", "leave"], "A pick is keep, leave or null.")),
});
const jobSchema = v.looseObject({
  jobId: v.string(),
  nightId: v.string(),
  state: v.picklist(JOB_STATES),
});
const morningSchema = v.looseObject({
  nightId: v.string(),
  frameCount: v.number(),
  sets: v.array(v.looseObject({ setId: v.string(), frameCount: v.number() })),
  keepers: v.array(v.looseObject({ frameIndex: v.number(), reasons: v.array(v.string()) })),
  jobs: v.array(jobSchema),
});

/** What the routes need of the deliveries. */
export type DeliverPart = Pick<
  DeliverService,
  "morning" | "jobs" | "start" | "cancel" | "resume" | "setPick" | "setEdits" | "find" | "filePath"
>;

/** The routes of the part Morning: frame sets, keepers, deliveries and what they made. */
export function deliverRoutes(service: DeliverPart): readonly Route[] {
  return [...morningRoutes(service), ...jobRoutes(service), fileRoute(service)];
}

function morningRoutes(service: DeliverPart): readonly Route[] {
  const answer = { kind: "json", name: "MorningView", schema: morningSchema } as const;
  return [
    {
      method: "get",
      path: "/api/nights/:nightId/morning",
      summary: "Frame sets, keepers and deliveries of a night.",
      part: PART,
      answer,
      handle: ({ params }) => service.morning(params["nightId"] ?? ""),
    },
    {
      method: "put",
      path: "/api/nights/:nightId/picks",
      summary: "The photographer's word on a frame: keep it, leave it, or no word (null).",
      part: PART,
      body: pickSchema,
      answer,
      handle: ({ params, body }) => {
        const { cameraId, frameIndex, pick } = v.parse(pickSchema, body);
        const nightId = params["nightId"] ?? "";
        const word = pick === null ? null : { pick, rating: null };
        service.setPick(nightId, { cameraId, frameIndex }, word);
        return service.morning(nightId);
      },
    },
    {
      method: "put",
      path: "/api/nights/:nightId/edits",
      summary: "Cuts, joins, names and in and out points of the frame sets, as a whole.",
      part: PART,
      body: editsSchema,
      answer,
      handle: ({ params, body }) => {
        const nightId = params["nightId"] ?? "";
        service.setEdits(nightId, body as SetEdits);
        return service.morning(nightId);
      },
    },
    {
      method: "get",
      path: "/api/nights/:nightId/surges",
      summary: "The frames that were taken during surges.",
      part: PART,
      answer: { kind: "json", schema: v.array(frameRecordSchema) },
      handle: ({ params }) => service.find(params["nightId"] ?? "", "surge"),
    },
  ];
}

function jobRoutes(service: DeliverPart): readonly Route[] {
  const answer = { kind: "json", name: "DeliverJob", schema: jobSchema } as const;
  return [
    {
      method: "get",
      path: "/api/nights/:nightId/deliveries",
      summary: "Deliveries of a night since the program started, with their progress.",
      part: PART,
      answer: { kind: "json", schema: v.array(jobSchema) },
      handle: ({ params }) => service.jobs(params["nightId"] ?? ""),
    },
    {
      method: "post",
      path: "/api/nights/:nightId/deliveries",
      summary: "Begins a delivery; what is left out of the order is as usual.",
      part: PART,
      body: orderSchema,
      answer,
      handle: ({ params, body }) => service.start(params["nightId"] ?? "", orderOf(body)),
    },
    {
      method: "post",
      path: "/api/deliveries/:jobId/cancel",
      summary: "Ends a delivery in order; what it has made stays.",
      part: PART,
      answer: { kind: "json", schema: v.object({ jobId: v.string() }) },
      handle: ({ params }) => {
        const jobId = params["jobId"] ?? "";
        service.cancel(jobId);
        return { jobId };
      },
    },
    {
      method: "post",
      path: "/api/deliveries/:jobId/resume",
      summary: "Goes on where a delivery stopped.",
      part: PART,
      answer,
      handle: ({ params }): DeliverJob => service.resume(params["jobId"] ?? ""),
    },
  ];
}

function fileRoute(service: DeliverPart): Route {
  return {
    method: "get",
    path: "/api/nights/:nightId/delivered",
    summary: "A file that a delivery made, by its path in the delivery's folder; ranges work.",
    part: PART,
    query: { path: v.string("path must name a delivered file.") },
    answer: { kind: "file", mediaType: "application/octet-stream", what: "the file" },
    handle: async ({ params, query }, response) => {
      const path = service.filePath(params["nightId"] ?? "", String(query["path"]));
      if (path === null) throw new NightError("web.not_found", "There is no such delivered file.");
      // The report is a page of its own with its styles and pictures inside; it may do nothing else.
      if (extname(path) === ".html") {
        response.set(
          "Content-Security-Policy",
          "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox allow-modals",
        );
      }
      await new Promise<void>((resolve, reject) => {
        response.sendFile(path, { dotfiles: "allow", maxAge: 0 }, (error) => {
          if (!error || response.headersSent) return resolve();
          const isFolder = (error as NodeJS.ErrnoException).code === "EISDIR";
          reject(isFolder ? new NightError("web.not_found", "That is a folder of frames.") : error);
        });
      });
    },
  };
}

/** The usual order with what was named; an absent field is not the same as an undefined one. */
function orderOf(body: unknown): DeliverOrder {
  const named = v.parse(orderSchema, body);
  const given = Object.fromEntries(
    Object.entries(named).filter(([, value]) => value !== undefined),
  ) as Partial<DeliverOrder>;
  const order = { ...DEFAULT_DELIVER_ORDER, ...given };
  const { fromUtcMs, toUtcMs } = order;
  if (fromUtcMs !== null && toUtcMs !== null && fromUtcMs > toUtcMs) {
    throw new NightError("settings.invalid", "The film's end cannot lie before its beginning.");
  }
  return {
    ...order,
    fromUtcMs: fromUtcMs === null ? null : utcMs(fromUtcMs),
    toUtcMs: toUtcMs === null ? null : utcMs(toUtcMs),
  };
}
