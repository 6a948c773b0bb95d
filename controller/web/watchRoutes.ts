import * as v from "valibot";

import type { WatchCommand, WatchView } from "../../core/api/messages.ts";
import { watchViewSchema } from "../../core/api/schemas.ts";
import { settingsChange, settingsChangeSchema } from "../../core/api/settingsChange.ts";
import { NightError } from "../../core/errors.ts";
import { utcMs, type UtcMs } from "../../core/units.ts";
import type { NightService } from "../night/nightService.ts";
import type { Route } from "./route.ts";

const PART = "Watch";

const ORDERS = [
  { kind: "start", summary: "Begins the watch: frames follow until something ends it." },
  { kind: "resume", summary: "Goes on after a pause." },
  { kind: "stop", summary: "Ends the watch once the open frame is kept." },
] as const;

/** A pause of a day is no pause. */
const PAUSE_MINUTES_MAX = 24 * 60;
const MINUTES = `A pause lasts from 1 to ${PAUSE_MINUTES_MAX} minutes.`;
const UNTIL = "untilUtcMs must be a moment in milliseconds since 1970 (UTC).";

const pauseSchema = v.pipe(
  v.strictObject(
    {
      untilUtcMs: v.optional(v.pipe(v.number(UNTIL), v.integer(UNTIL))),
      minutes: v.optional(
        v.pipe(v.number(MINUTES), v.minValue(1, MINUTES), v.maxValue(PAUSE_MINUTES_MAX, MINUTES)),
      ),
    },
    (issue) => `A pause has nothing called ${issue.received}.`,
  ),
  v.check(
    ({ untilUtcMs, minutes }) => untilUtcMs === undefined || minutes === undefined,
    "Say either until when the pause lasts or for how many minutes.",
  ),
);
type PauseBody = v.InferOutput<typeof pauseSchema>;

/** @returns null for a pause without an end. @throws NightError `settings.invalid` */
function pauseEnd({ untilUtcMs, minutes }: PauseBody, nowUtcMs: UtcMs): UtcMs | null {
  if (minutes !== undefined) return utcMs(nowUtcMs + minutes * 60_000);
  if (untilUtcMs === undefined) return null;
  const lastUtcMs = nowUtcMs + PAUSE_MINUTES_MAX * 60_000;
  if (untilUtcMs > nowUtcMs && untilUtcMs <= lastUtcMs) return utcMs(untilUtcMs);
  throw new NightError("settings.invalid", "A pause ends after now and within a day.");
}

/** The routes that tell a watch what to do. Each answers with how the watch stands then. */
export function watchRoutes(service: NightService): readonly Route[] {
  const orders = ORDERS.map(({ kind, summary }): Route => ({
    method: "post",
    path: `/api/watches/:cameraId/${kind}`,
    summary,
    part: PART,
    answer: { kind: "json", name: "WatchView", schema: watchViewSchema },
    handle: ({ params }) => sendCommand(service, params["cameraId"] ?? "", { kind }),
  }));
  return [
    ...orders,
    {
      method: "post",
      path: "/api/watches/:cameraId/pause",
      summary: "Takes no further frame until the end that is given, or until the watch is resumed.",
      part: PART,
      body: pauseSchema,
      answer: { kind: "json", name: "WatchView", schema: watchViewSchema },
      handle: ({ params, body }) => {
        const untilUtcMs = pauseEnd(body as PauseBody, service.view().nowUtcMs);
        return sendCommand(service, params["cameraId"] ?? "", { kind: "pause", untilUtcMs });
      },
    },
    {
      method: "patch",
      path: "/api/watches/:cameraId/settings",
      summary: "Changes what steers the governor; in force at the next frame.",
      part: PART,
      // Checked again, against the watch's own settings, by `settingsChange`: its sentences name
      // what is wrong, where a schema alone would say only that something is.
      body: v.unknown(),
      bodyInDocument: settingsChangeSchema,
      answer: { kind: "json", name: "WatchView", schema: watchViewSchema },
      handle: ({ params, body }) => {
        const cameraId = params["cameraId"] ?? "";
        const settings = settingsChange(body, watchOf(service, cameraId).settings);
        return sendCommand(service, cameraId, { kind: "settings", settings });
      },
    },
  ];
}

function sendCommand(service: NightService, cameraId: string, command: WatchCommand): WatchView {
  watchOf(service, cameraId);
  service.command(cameraId, command);
  return watchOf(service, cameraId);
}

function watchOf(service: NightService, cameraId: string): WatchView {
  const watch = service.view().watches.find((one) => one.cameraId === cameraId);
  if (watch === undefined) {
    throw new NightError("web.not_found", `There is no camera ${JSON.stringify(cameraId)}.`);
  }
  return watch;
}
