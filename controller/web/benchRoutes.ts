import * as v from "valibot";

import type { BenchRunner } from "../bench-check/benchRunner.ts";
import type { Route } from "./route.ts";

const PART = "Before dark";

const orderSchema = v.object({ cameraId: v.string("cameraId must be a text.") });
const viewSchema = v.looseObject({ kind: v.picklist(["none", "running", "done", "failed"]) });
const answer = { kind: "json", name: "BenchView", schema: viewSchema } as const;

type BenchParts = {
  readonly runner: Pick<BenchRunner, "view" | "start" | "stop">;
  /** @throws NightError `settings.invalid` with one sentence while something else has the camera. */
  readonly claim: (cameraId: string) => void;
};

/** The routes of the bench check, which proves on the camera itself what it can do. */
export function benchRoutes({ runner, claim }: BenchParts): readonly Route[] {
  return [
    {
      method: "get",
      path: "/api/bench-check",
      summary: "How the bench check stands: its steps, or what it found and wrote.",
      part: PART,
      answer,
      handle: () => runner.view(),
    },
    {
      method: "post",
      path: "/api/bench-check/start",
      summary: "Tries on the camera what the night will ask of it, in about a minute.",
      part: PART,
      body: orderSchema,
      answer,
      handle: ({ body }) => {
        const { cameraId } = v.parse(orderSchema, body);
        claim(cameraId);
        return runner.start(cameraId);
      },
    },
    {
      method: "post",
      path: "/api/bench-check/stop",
      summary: "Ends the bench check early; the shutter is closed first.",
      part: PART,
      answer,
      handle: () => runner.stop(),
    },
  ];
}
