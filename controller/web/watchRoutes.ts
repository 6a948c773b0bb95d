import * as v from "valibot";

import type { WatchCommand, WatchView } from "../../core/api/messages.ts";
import { watchViewSchema } from "../../core/api/schemas.ts";
import { settingsChange, settingsChangeSchema } from "../../core/api/settingsChange.ts";
import { NightError } from "../../core/errors.ts";
import type { NightService } from "../night/nightService.ts";
import type { Route } from "./route.ts";

const PART = "Watch";

const ORDERS = [
  { kind: "start", summary: "Begins the watch: frames follow until something ends it." },
  { kind: "pause", summary: "Takes no further frame until the watch is resumed." },
  { kind: "resume", summary: "Goes on after a pause." },
  { kind: "stop", summary: "Ends the watch once the open frame is kept." },
] as const;

/** The routes that tell a watch what to do. Each answers with how the watch stands then. */
export function watchRoutes(service: NightService): readonly Route[] {
  const orders = ORDERS.map(({ kind, summary }): Route => ({
    method: "post",
    path: `/api/watches/:cameraId/${kind}`,
    summary,
    part: PART,
    answer: { kind: "json", name: "WatchView", schema: watchViewSchema },
    handle: ({ params }) => told(service, params["cameraId"] ?? "", { kind }),
  }));
  return [
    ...orders,
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
        return told(service, cameraId, { kind: "settings", settings });
      },
    },
  ];
}

function told(service: NightService, cameraId: string, command: WatchCommand): WatchView {
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
