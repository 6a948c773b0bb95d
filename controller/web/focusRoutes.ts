import type { Response } from "express";
import * as v from "valibot";

import { NightError } from "../../core/errors.ts";
import type { FocusAid } from "../focus/focusAid.ts";
import type { FramingAid } from "../focus/framingAid.ts";
import type { Route } from "./route.ts";

const PART = "Before dark";

const orderSchema = v.object({
  cameraId: v.string("cameraId must be a text."),
  exposureSeconds: v.optional(
    v.pipe(
      v.number("exposureSeconds must be a number."),
      v.minValue(0.1, "exposureSeconds must be at least 0.1."),
      v.maxValue(30, "exposureSeconds must be at most 30."),
    ),
  ),
  iso: v.optional(
    v.pipe(
      v.number("iso must be a number."),
      v.minValue(50, "iso must be at least 50."),
      v.maxValue(1_000_000, "iso must be at most 1,000,000."),
    ),
  ),
});
const viewSchema = v.looseObject({ kind: v.string() });

type FocusParts = {
  readonly focus: FocusAid;
  readonly framing: FramingAid;
  /** @throws NightError `settings.invalid` with one sentence while something else has the camera. */
  readonly claim: (cameraId: string) => void;
};

/** The routes of the focus aid and of the test frame. */
export function focusRoutes({ focus, framing, claim }: FocusParts): readonly Route[] {
  return [
    {
      method: "get",
      path: "/api/focus",
      summary: "How the focus aid stands: the trace of star widths and what it says.",
      part: PART,
      answer: { kind: "json", name: "FocusView", schema: viewSchema },
      handle: () => focus.view(),
    },
    {
      method: "post",
      path: "/api/focus/start",
      summary: "Takes short frames one after another and measures the stars on each.",
      part: PART,
      body: orderSchema,
      answer: { kind: "json", name: "FocusView", schema: viewSchema },
      handle: ({ body }) => {
        const order = definedOnly(v.parse(orderSchema, body));
        claim(order.cameraId);
        return focus.start(order);
      },
    },
    {
      method: "post",
      path: "/api/focus/stop",
      summary: "Ends the focus aid and releases the camera.",
      part: PART,
      answer: { kind: "json", name: "FocusView", schema: viewSchema },
      handle: () => focus.stop(),
    },
    {
      method: "get",
      path: "/api/focus/star.jpg",
      summary: "The brightest star of the newest focus frame, magnified.",
      part: PART,
      answer: { kind: "file", mediaType: "image/jpeg", what: "the magnified star" },
      handle: (_request, response) => sendPicture(focus.picture(), response),
    },
    {
      method: "get",
      path: "/api/framing",
      summary: "The newest test frame and what it shows of horizon, lamps and glow.",
      part: PART,
      answer: { kind: "json", name: "FramingView", schema: viewSchema },
      handle: () => framing.view(),
    },
    {
      method: "post",
      path: "/api/framing/start",
      summary: "Takes a test frame at high ISO.",
      part: PART,
      body: orderSchema,
      answer: { kind: "json", name: "FramingView", schema: viewSchema },
      handle: ({ body }) => {
        const order = definedOnly(v.parse(orderSchema, body));
        claim(order.cameraId);
        return framing.start(order);
      },
    },
    {
      method: "get",
      path: "/api/framing/picture.jpg",
      summary: "The newest test frame.",
      part: PART,
      answer: { kind: "file", mediaType: "image/jpeg", what: "the test frame" },
      handle: (_request, response) => sendPicture(framing.picture(), response),
    },
  ];
}

type Order = v.InferOutput<typeof orderSchema>;

/** The order without its undefined parts. */
function definedOnly({ cameraId, exposureSeconds, iso }: Order) {
  return {
    cameraId,
    ...(exposureSeconds === undefined ? {} : { exposureSeconds }),
    ...(iso === undefined ? {} : { iso }),
  };
}

function sendPicture(picture: Uint8Array | null, response: Response): void {
  if (picture === null) throw new NightError("archive.not_found", "There is no picture yet.");
  response.type("image/jpeg").set("Cache-Control", "no-store").send(Buffer.from(picture));
}
