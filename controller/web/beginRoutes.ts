import * as v from "valibot";
import {
  beginOrderSchema,
  beginViewSchema,
  cameraAddressSchema,
  cameraOfferSchema,
  foundCamerasSchema,
  type BeginOrder,
  type BeginView,
  type CameraOffer,
  type FoundCameras,
} from "../../core/api/beginMessages.ts";
import type { Route } from "./route.ts";

const PART = "Before dark";

/** Finds cameras and begins a night with one. */
export type NightBeginner = {
  view(): BeginView;
  /** Nothing is opened but what says of itself that it is a still camera. */
  found(): Promise<FoundCameras>;
  /** Connects once, asks the camera what it is, and disconnects. @throws NightError when it does not answer. */
  tryCamera(address: string): Promise<CameraOffer>;
  /**
   * Checks and keeps the choice; `start` has the program start with it, once the page has its answer.
   *
   * @throws NightError `settings.invalid` while a watch runs; as `tryCamera` otherwise.
   */
  begin(order: BeginOrder): Promise<{ readonly view: BeginView; readonly start: () => void }>;
};

/** The routes by which a night is begun from the page: no command line is needed. */
export function beginRoutes(beginner: NightBeginner): readonly Route[] {
  return [
    {
      method: "get",
      path: "/api/begin",
      summary: "The choice that the last night was begun with, and what stood in its way.",
      part: PART,
      answer: { kind: "json", name: "BeginView", schema: beginViewSchema },
      handle: () => beginner.view(),
    },
    {
      method: "get",
      path: "/api/cameras/found",
      summary: "Cameras on this computer's USB, by what they report.",
      part: PART,
      answer: { kind: "json", name: "FoundCameras", schema: foundCamerasSchema },
      handle: () => beginner.found(),
    },
    {
      method: "post",
      path: "/api/cameras/try",
      summary: "Asks a camera once what it is, and leaves it again.",
      part: PART,
      body: cameraAddressSchema,
      answer: { kind: "json", name: "CameraOffer", schema: cameraOfferSchema },
      handle: ({ body }) => beginner.tryCamera(v.parse(cameraAddressSchema, body).camera),
    },
    {
      method: "post",
      path: "/api/begin",
      summary:
        "Begins a night with a camera and a place, now or at dusk; the program starts again with them, and its page with it.",
      part: PART,
      body: beginOrderSchema,
      answer: { kind: "json", name: "BeginView", schema: beginViewSchema },
      handle: async ({ body }, response) => {
        const { view, start } = await beginner.begin(v.parse(beginOrderSchema, body));
        response.once("close", start);
        return view;
      },
    },
  ];
}
