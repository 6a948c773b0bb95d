import { stat } from "node:fs/promises";

import type { Response } from "express";
import sharp from "sharp";
import * as v from "valibot";

import { curvesOf, nightCurvesSchema } from "../../core/api/nightCurves.ts";
import { healthOf } from "../../core/api/nightMetrics.ts";
import {
  daemonViewSchema,
  frameRecordSchema,
  healthViewSchema,
  nightTimelineSchema,
  nightSummarySchema,
  straySchema,
} from "../../core/api/schemas.ts";
import { NightError } from "../../core/errors.ts";
import { nightLight, nightLightSchema } from "../../core/plan/nightLight.ts";
import { isPlaced, placeOf } from "../../core/sky/place.ts";
import { COLUMN_ROWS, type FrameImages } from "./frameImages.ts";
import type { KeogramStore } from "./keogramStore.ts";
import type { FrameRange, NightService } from "../night/nightService.ts";
import { frameIndexOf, wholeNumber, type Route, type RouteRequest } from "./route.ts";

/** Frames in one answer; a page asks again for more. */
const FRAMES_MAX = 500;

/** Keogram columns and curve points in one answer: a whole night of short frames. */
const COLUMNS_MAX = 20_000;

const PART = "Watch";

type NightRouteParts = {
  readonly service: NightService;
  readonly images: FrameImages;
  readonly keograms: KeogramStore;
};

/** The routes that read: the state, the nights, their frames and pictures. */
export function nightRoutes(parts: NightRouteParts): readonly Route[] {
  const { service } = parts;
  const idOf = nightIds(service);
  return [
    ...listRoutes(service),
    lightRoute(service, idOf),
    ...frameRoutes(service, idOf),
    ...pictureRoutes({ ...parts, idOf }),
  ];
}

function listRoutes(service: NightService): readonly Route[] {
  return [
    {
      method: "get",
      path: "/api/state",
      summary: "The daemon's whole state, as the socket at /api/live pushes it.",
      part: PART,
      answer: { kind: "json", name: "DaemonView", schema: daemonViewSchema },
      handle: () => service.view(),
    },
    {
      method: "get",
      path: "/api/health",
      summary: "Whether all is well, in one word and one sentence; figures are at /metrics.",
      part: PART,
      answer: { kind: "json", name: "HealthView", schema: healthViewSchema },
      handle: () => healthOf(service.view()),
    },
    {
      method: "get",
      path: "/api/nights",
      summary: "Every night in the data folder, newest first.",
      part: PART,
      answer: { kind: "json", schema: v.array(nightSummarySchema) },
      handle: () => [...service.nights()].sort((one, other) => other.startUtcMs - one.startUtcMs),
    },
  ];
}

/** The strip never shows more than a night and the day after it. */
const LIGHT_MS = 36 * 3_600_000;
/** A watch may be begun in the morning twilight: the night before belongs to it, too. */
const LIGHT_BEFORE_MS = 12 * 3_600_000;

function lightRoute(service: NightService, idOf: NightIdOf): Route {
  return {
    method: "get",
    path: "/api/nights/:nightId/light",
    summary: "Twilights, darkness and the Moon over a night's place; null: the place is not known.",
    part: PART,
    answer: { kind: "json", name: "NightLight", schema: v.nullable(nightLightSchema) },
    handle: ({ params }) => {
      const nightId = idOf(params);
      const { night } = service.view();
      const summary =
        night?.nightId === nightId
          ? night
          : service.nights().find((one) => one.nightId === nightId);
      if (!summary || !isPlaced(summary)) return null;
      const startMs = summary.startUtcMs - LIGHT_BEFORE_MS;
      return nightLight(placeOf(summary), { startMs, endMs: startMs + LIGHT_MS });
    },
  };
}

function frameRoutes(service: NightService, idOf: NightIdOf): readonly Route[] {
  return [
    {
      method: "get",
      path: "/api/nights/:nightId/frames",
      summary: `One camera's frames of a night by rising index, at most ${FRAMES_MAX} at once.`,
      part: PART,
      query: range(FRAMES_MAX, 100),
      answer: { kind: "json", schema: v.array(frameRecordSchema) },
      handle: ({ params, query }) => service.frames(idOf(params), rangeOf(query)),
    },
    {
      method: "get",
      path: "/api/nights/:nightId/curves",
      summary: "A night's exposure, ISO and sky brightness, as columns of numbers.",
      part: PART,
      query: range(COLUMNS_MAX, COLUMNS_MAX),
      answer: { kind: "json", name: "NightCurves", schema: nightCurvesSchema },
      handle: ({ params, query }) => curvesOf(service.frames(idOf(params), rangeOf(query))),
    },
    {
      method: "get",
      path: "/api/nights/:nightId/timeline",
      summary: "One camera's surges, gaps and guards of a night, as its catalogue has them.",
      part: PART,
      query: { camera: cameraInQuery },
      answer: { kind: "json", name: "NightTimeline", schema: nightTimelineSchema },
      handle: ({ params, query }) => service.timeline(idOf(params), cameraOf(query)),
    },
    {
      method: "get",
      path: "/api/nights/:nightId/strays",
      summary: "Pictures of a night that are no frame's by any proof: each with its file and why.",
      part: PART,
      answer: { kind: "json", schema: v.array(straySchema) },
      handle: ({ params }) => service.strays(idOf(params)),
    },
    {
      method: "get",
      path: "/api/nights/:nightId/frames/:frameIndex",
      summary: "One frame: what was asked and why, what happened, what the meter says.",
      part: PART,
      query: { camera: cameraInQuery },
      answer: { kind: "json", name: "FrameRecord", schema: frameRecordSchema },
      handle: ({ params, query }) => frameOf(service, idOf(params), { params, query }),
    },
  ];
}

function pictureRoutes({
  service,
  images,
  keograms,
  idOf,
}: NightRouteParts & { readonly idOf: NightIdOf }): readonly Route[] {
  const base = "/api/nights/:nightId";
  return [
    {
      method: "get",
      path: `${base}/keogram.png`,
      summary:
        `Slices of frames side by side: column i is frame from + i, ${COLUMN_ROWS} rows, ` +
        "the top of the frame first; transparent where there is no picture.",
      part: PART,
      query: range(COLUMNS_MAX, COLUMNS_MAX),
      answer: { kind: "file", mediaType: "image/png", what: "the slices" },
      handle: async ({ params, query }, response) => {
        const nightId = idOf(params);
        const wanted = rangeOf(query);
        const frames = byIndex(service.frames(nightId, wanted), wanted.fromIndex);
        const png = await keogramPng(service, keograms, { nightId, frames });
        response.type("png").set("Cache-Control", "no-store").send(png);
      },
    },
    {
      method: "get",
      path: `${base}/frames/:frameIndex/column.png`,
      summary: `One frame's slice of the keogram, 1 × ${COLUMN_ROWS} pixels.`,
      part: PART,
      query: { camera: cameraInQuery },
      answer: { kind: "file", mediaType: "image/png", what: "the slice" },
      handle: async ({ params, query }, response) => {
        const nightId = idOf(params);
        const frames = [frameOf(service, nightId, { params, query })];
        const png = await keogramPng(service, keograms, { nightId, frames });
        response.type("png").set("Cache-Control", "no-store").send(png);
      },
    },
    {
      method: "get",
      path: `${base}/frames/:frameIndex/thumb.jpg`,
      summary: "A small picture of a frame, 192 pixels wide.",
      part: PART,
      query: { camera: cameraInQuery },
      answer: { kind: "file", mediaType: "image/jpeg", what: "the small picture" },
      handle: async (request, response) => {
        const path = pictureOf(service, idOf(request.params), request);
        await sendPicture(request, response, path, () => images.thumb(path));
      },
    },
    {
      method: "get",
      path: `${base}/frames/:frameIndex/image.jpg`,
      summary: "A frame's picture as the camera gave it; with width, made at most that wide.",
      part: PART,
      query: {
        camera: cameraInQuery,
        width: wholeNumber("width", { min: 0, max: 4096, byDefault: 0 }),
      },
      answer: { kind: "file", mediaType: "image/jpeg", what: "the picture" },
      handle: async (request, response) => {
        const path = pictureOf(service, idOf(request.params), request);
        const width = Number(request.query["width"]);
        if (width > 0) {
          await sendPicture(request, response, path, () => images.atWidth(path, width));
        } else {
          await sendWholeFile(response, path);
        }
      },
    },
  ];
}

async function keogramPng(
  service: NightService,
  keograms: KeogramStore,
  { nightId, frames }: { nightId: string; frames: readonly FrameRecordOrHole[] },
): Promise<Buffer> {
  const [first] = frames;
  if (first === undefined) {
    throw new NightError("web.not_found", "This night has no frames there.");
  }
  const pathOf = (index: number): string | null =>
    service.framePath(nightId, index, first.cameraId);
  const pixels = await keograms.pixels(nightId, frames, pathOf);
  return sharp(pixels, { raw: { width: frames.length, height: COLUMN_ROWS, channels: 4 } })
    .png({ compressionLevel: 6, adaptiveFiltering: false })
    .toBuffer();
}

type FrameRecordOrHole = ReturnType<NightService["frames"]>[number];

/** One entry for every index from `fromIndex` on; an index without a frame gets a hole. */
function byIndex(
  frames: readonly FrameRecordOrHole[],
  fromIndex: number,
): readonly FrameRecordOrHole[] {
  const last = frames.at(-1);
  if (last === undefined || last.frameIndex === fromIndex + frames.length - 1) return frames;
  const found = new Map(frames.map((frame) => [frame.frameIndex, frame]));
  const count = Math.min(COLUMNS_MAX, last.frameIndex - fromIndex + 1);
  return Array.from(
    { length: count },
    (_, at) => found.get(fromIndex + at) ?? { ...last, frameIndex: fromIndex + at, file: null },
  );
}

/**
 * Sends a picture that is made on demand. Its tag is the file's own age and size, so that a page
 * that has it already costs nothing.
 */
async function sendPicture(
  request: RouteRequest,
  response: Response,
  path: string,
  make: () => Promise<Buffer>,
): Promise<void> {
  const { mtimeMs, size } = await fileState(path);
  const tag = `"${Math.round(mtimeMs).toString(36)}-${size.toString(36)}"`;
  response.set("Cache-Control", "private, no-cache").set("ETag", tag).type("jpeg");
  if (request.headers["if-none-match"] === tag) {
    response.status(304).end();
    return;
  }
  const jpeg = await make();
  response.send(jpeg);
}

async function sendWholeFile(response: Response, path: string): Promise<void> {
  await fileState(path);
  await new Promise<void>((resolve, reject) => {
    response.type("jpeg");
    response.sendFile(path, { dotfiles: "allow", cacheControl: false }, (error) => {
      // A caller that goes away in the middle is no error of ours.
      if (!error || response.headersSent) resolve();
      else reject(error);
    });
  });
}

async function fileState(path: string): Promise<{ mtimeMs: number; size: number }> {
  return stat(path).catch(() => {
    throw new NightError("web.not_found", "This frame's picture is not on the disk any more.");
  });
}

/** An index is unique within a camera only. Left out: the night's first camera. */
const cameraInQuery = v.optional(v.string("camera must be a camera's id."));

function range(max: number, byDefault: number): NonNullable<Route["query"]> {
  return {
    camera: cameraInQuery,
    from: wholeNumber("from", { min: 0, max: 999_999_999, byDefault: 0 }),
    count: wholeNumber("count", { min: 1, max, byDefault }),
  };
}

function rangeOf(query: RouteRequest["query"]): FrameRange {
  const cameraId = cameraOf(query);
  return { fromIndex: Number(query["from"]), count: Number(query["count"]), cameraId };
}

function cameraOf(query: RouteRequest["query"]): string | undefined {
  const { camera } = query;
  return camera === undefined ? undefined : String(camera);
}

type FrameRequest = Pick<RouteRequest, "params" | "query">;

type NightIdOf = (params: RouteRequest["params"]) => string;

/** The night that a path names. Nights do not vanish, so one that was found is not searched again. */
function nightIds(service: NightService): NightIdOf {
  const known = new Set<string>();
  return (params) => {
    const nightId = params["nightId"] ?? "";
    if (known.has(nightId)) return nightId;
    const isKnown =
      service.view().night?.nightId === nightId ||
      service.nights().some((night) => night.nightId === nightId);
    if (!isKnown) {
      throw new NightError("web.not_found", `There is no night ${JSON.stringify(nightId)}.`);
    }
    known.add(nightId);
    return nightId;
  };
}

function frameOf(
  service: NightService,
  nightId: string,
  { params, query }: FrameRequest,
): FrameRecordOrHole {
  const fromIndex = frameIndexOf(params);
  const frame = service.frames(nightId, { fromIndex, count: 1, cameraId: cameraOf(query) })[0];
  if (frame?.frameIndex !== fromIndex) {
    throw new NightError("web.not_found", `This night has no frame ${fromIndex}.`);
  }
  return frame;
}

function pictureOf(
  service: NightService,
  nightId: string,
  { params, query }: FrameRequest,
): string {
  const frameIndex = frameIndexOf(params);
  const path = service.framePath(nightId, frameIndex, cameraOf(query));
  if (path === null) {
    throw new NightError("web.not_found", `Frame ${frameIndex} has no picture.`);
  }
  return path;
}
