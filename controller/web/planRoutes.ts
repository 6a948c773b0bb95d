import { readFile } from "node:fs/promises";

import * as v from "valibot";

import {
  sensedPlaceSchema,
  planQuerySchema,
  rememberedPlaceSchema,
  tonightQuerySchema,
} from "../../core/api/planMessages.ts";
import type { WatchView } from "../../core/api/messages.ts";
import { NightError } from "../../core/errors.ts";
import { kitInputSchema } from "../../core/plan/kit.ts";
import { UNKNOWN_CAMERA, type CameraFacts } from "../../core/plan/checklist.ts";
import type { PlanService } from "../planning/planService.ts";
import type { NightService } from "../night/nightService.ts";
import type { Route } from "./route.ts";

const PART = "Before dark";

/** The contract's own fields; the plan carries more, as `core/plan/plan.ts` says. */
const time = v.nullable(v.string());
const planSchema = v.looseObject({
  latitudeDeg: v.number(),
  longitudeDeg: v.number(),
  date: v.string(),
  sunset: time,
  sunrise: time,
  darkStart: time,
  darkEnd: time,
  nauticalDarkStart: time,
  nauticalDarkEnd: time,
  darkness: v.picklist(["window", "never", "allDay"]),
  nauticalDarkness: v.picklist(["window", "never", "allDay"]),
  moonrise: time,
  moonset: time,
  moonIlluminatedFraction: v.number(),
  geomagneticLatitudeDeg: v.number(),
  facing: v.picklist(["north", "south"]),
  maxExposureSeconds: v.number(),
  samples: v.array(
    v.looseObject({
      time: v.string(),
      sunAltitudeDeg: v.number(),
      sunAzimuthDeg: v.number(),
      moonAltitudeDeg: v.number(),
      moonAzimuthDeg: v.number(),
      skyMagArcsec2: v.number(),
    }),
  ),
});
const kpFeedSchema = v.looseObject({ kind: v.string(), sentence: v.string() });
const kpAddressSchema = v.object({
  url: v.nullable(v.string("The Kp feed must be an http or https address.")),
});
const reportedBodySchema = v.object({
  /** Left out: the first camera. */
  cameraId: v.optional(v.string("cameraId must be a text.")),
  kit: kitInputSchema,
});
const rememberedKitSchema = v.object({ input: kitInputSchema, kit: v.looseObject({}) });
const tonightSchema = v.looseObject({
  kind: v.picklist(["none", "running", "done", "failed"]),
});
const checklistBodySchema = v.object({
  /** Left out: the first camera. */
  cameraId: v.optional(v.string("cameraId must be a text.")),
  ticks: v.array(v.string(), "ticks must be a list of the items' ids."),
  needs: v.object(
    {
      bytes: v.number("needs.bytes must be a number."),
      batteries: v.number("needs.batteries must be a number."),
    },
    "needs must be an object with bytes and batteries.",
  ),
});

/** A camera's test frame, taken before the night; null: none was taken. */
type TestFrameOf = (cameraId: string) => Uint8Array | null;

/** The routes of the part Before dark: plan, kits, places, checklist, rehearsal of tonight. */
export function planRoutes(
  plans: PlanService,
  nights: NightService,
  testFrameOf: TestFrameOf = () => null,
): readonly Route[] {
  return [
    ...planningRoutes(plans),
    ...rememberedRoutes(plans),
    ...cameraRoutes(plans, nights, testFrameOf),
    ...tonightRoutes(plans),
  ];
}

function planningRoutes(plans: PlanService): readonly Route[] {
  return [
    {
      method: "post",
      path: "/api/plan",
      summary: "The plan of a night for a place, a date and a kit.",
      part: PART,
      ...checkedByService(planQuerySchema),
      answer: {
        kind: "json",
        name: "PlanAnswer",
        schema: v.object({ plan: planSchema, kpFeed: kpFeedSchema }),
      },
      handle: ({ body }) => plans.plan(body),
    },
    {
      method: "post",
      path: "/api/plan/calendar",
      summary: "The same night as a calendar file (iCalendar).",
      part: PART,
      ...checkedByService(planQuerySchema),
      answer: { kind: "file", mediaType: "text/calendar", what: "the calendar file" },
      handle: ({ body }, response) => {
        const calendar = plans.calendar(body);
        response.type("text/calendar").set("Cache-Control", "no-store").send(calendar);
      },
    },
    {
      method: "get",
      path: "/api/kp",
      summary: "How the Kp feed stands that the user has named; it is never waited for.",
      part: PART,
      answer: { kind: "json", name: "KpFeedView", schema: kpFeedSchema },
      handle: () => plans.kpFeed(),
    },
    {
      method: "put",
      path: "/api/kp",
      summary: "Names the Kp feed to use, by its address, and remembers it; null forgets it.",
      part: PART,
      body: kpAddressSchema,
      answer: { kind: "json", name: "KpFeedView", schema: kpFeedSchema },
      handle: ({ body }) => plans.nameKpFeed(v.parse(kpAddressSchema, body).url),
    },
  ];
}

function rememberedRoutes(plans: PlanService): readonly Route[] {
  return [
    {
      method: "get",
      path: "/api/kits",
      summary: "All remembered kits.",
      part: PART,
      answer: { kind: "json", schema: v.array(rememberedKitSchema) },
      handle: () => plans.kits(),
    },
    {
      method: "put",
      path: "/api/kits",
      summary: "Remembers a kit; one of the same name is replaced.",
      part: PART,
      ...checkedByService(kitInputSchema),
      answer: { kind: "json", name: "RememberedKit", schema: rememberedKitSchema },
      handle: ({ body }) => plans.putKit(body),
    },
    {
      method: "delete",
      path: "/api/kits/:name",
      summary: "Forgets a kit.",
      part: PART,
      answer: { kind: "json", schema: v.array(rememberedKitSchema) },
      handle: ({ params }) => {
        plans.removeKit(params["name"] ?? "");
        return plans.kits();
      },
    },
    {
      method: "get",
      path: "/api/places",
      summary: "All remembered places.",
      part: PART,
      answer: { kind: "json", schema: v.array(rememberedPlaceSchema) },
      handle: () => plans.places(),
    },
    {
      method: "get",
      path: "/api/places/sensed",
      summary: "Where the GNSS receiver stands; null without one, or while it has no fix.",
      part: PART,
      answer: { kind: "json", schema: v.nullable(sensedPlaceSchema) },
      handle: () => plans.sensedPlace(),
    },
    {
      method: "put",
      path: "/api/places",
      summary: "Remembers a place; one of the same name is replaced.",
      part: PART,
      ...checkedByService(rememberedPlaceSchema),
      answer: { kind: "json", name: "RememberedPlace", schema: rememberedPlaceSchema },
      handle: ({ body }) => plans.putPlace(body),
    },
    {
      method: "delete",
      path: "/api/places/:name",
      summary: "Forgets a place.",
      part: PART,
      answer: { kind: "json", schema: v.array(rememberedPlaceSchema) },
      handle: ({ params }) => {
        plans.removePlace(params["name"] ?? "");
        return plans.places();
      },
    },
  ];
}

function cameraRoutes(
  plans: PlanService,
  nights: NightService,
  testFrameOf: TestFrameOf,
): readonly Route[] {
  return [
    {
      method: "post",
      path: "/api/checklist",
      summary: "The checklist: what the camera tells by itself, and what was ticked by hand.",
      part: PART,
      body: checklistBodySchema,
      answer: {
        kind: "json",
        name: "Checklist",
        schema: v.looseObject({ items: v.array(v.looseObject({ id: v.string() })) }),
      },
      handle: ({ body }) => {
        const { cameraId, ticks, needs } = v.parse(checklistBodySchema, body);
        return plans.checklist({ facts: factsOf(nights, cameraId), ticks, needs });
      },
    },
    {
      method: "post",
      path: "/api/kits/reported",
      summary: "A kit with what the connected camera reports of itself in place of what was typed.",
      part: PART,
      ...checkedByService(reportedBodySchema),
      answer: {
        kind: "json",
        name: "ReportedKit",
        schema: v.object({ input: kitInputSchema, reported: v.array(v.string()) }),
      },
      handle: async ({ body }) => {
        const { cameraId, kit } = (body ?? {}) as { cameraId?: string; kit?: unknown };
        const watch = watchOf(nights, cameraId);
        const facts = watch === undefined ? null : (nights.cameraKit?.(watch.cameraId) ?? null);
        if (watch === undefined || facts === null) {
          throw new NightError(
            "settings.invalid",
            "No camera has reported anything of itself yet.",
          );
        }
        const frame = testFrameOf(watch.cameraId) ?? (await newestFrame(nights, watch.cameraId));
        const { input, reported } = await plans.kitFromCamera(kit, facts, frame);
        return { input, reported };
      },
    },
    {
      method: "post",
      path: "/api/plan/keep",
      summary: "Keeps a plan with tonight's watch, so that the report can lay it beside the night.",
      part: PART,
      ...checkedByService(planQuerySchema),
      answer: { kind: "json", schema: v.object({ isKept: v.boolean() }) },
      handle: ({ body }) => ({ isKept: nights.keepPlan?.(plans.planRequest(body)) ?? false }),
    },
  ];
}

/** The newest frame of tonight's watch; null: none is kept, or it has been moved away since. */
async function newestFrame(nights: NightService, cameraId: string): Promise<Uint8Array | null> {
  const path = nights.newestFramePath?.(cameraId) ?? null;
  return path === null ? null : await readFile(path).catch(() => null);
}

function tonightRoutes(plans: PlanService): readonly Route[] {
  return [
    {
      method: "post",
      path: "/api/tonight",
      summary: "Rehearses this plan against a hundred simulated skies, in the background.",
      part: PART,
      ...checkedByService(tonightQuerySchema),
      answer: { kind: "json", name: "TonightView", schema: tonightSchema },
      handle: ({ body }) => plans.startTonight(body),
    },
    {
      method: "get",
      path: "/api/tonight",
      summary: "How the rehearsal of tonight stands, and its result.",
      part: PART,
      answer: { kind: "json", name: "TonightView", schema: tonightSchema },
      handle: () => plans.tonight(),
    },
  ];
}

/** The service checks these bodies itself: its sentences know the trade. */
function checkedByService(schema: v.GenericSchema): Pick<Route, "body" | "bodyInDocument"> {
  return { body: v.unknown(), bodyInDocument: schema };
}

/** A camera's watch; without a name, or with one that is gone, the first. */
function watchOf(nights: NightService, cameraId: string | undefined): WatchView | undefined {
  const { watches } = nights.view();
  return watches.find((one) => one.cameraId === cameraId) ?? watches[0];
}

/** What the camera says of itself; what it does not say stays unknown. */
function factsOf(nights: NightService, cameraId: string | undefined): CameraFacts {
  const watch = watchOf(nights, cameraId);
  if (watch === undefined) return UNKNOWN_CAMERA;
  const reported = nights.cameraFacts?.(watch.cameraId) ?? {};
  return {
    ...UNKNOWN_CAMERA,
    batteryPercent: watch.batteryPercent,
    freeBytes: watch.cardFreeBytes,
    ...reported,
    running: runningNight(watch, nights.view().nowUtcMs),
  };
}

/** The sums that the head of the page shows; `null`: nothing exposes, or the night has no end yet. */
function runningNight(watch: WatchView, nowUtcMs: number): CameraFacts["running"] {
  const { phase, frameCount, endsUtcMs, batteryEndsUtcMs, cardEndsUtcMs } = watch;
  const isRunning = frameCount > 0 && phase !== "idle" && phase !== "finished";
  if (!isRunning || endsUtcMs === null) return null;
  const left = (untilUtcMs: number | null) => (untilUtcMs === null ? null : untilUtcMs - nowUtcMs);
  return {
    leftMs: endsUtcMs - nowUtcMs,
    batteryMs: left(batteryEndsUtcMs),
    cardMs: left(cardEndsUtcMs),
  };
}
