import type { DeliverOrder } from "../../../core/api/deliverMessages.ts";

/** What the photographer chooses of a delivery; the frame sets are chosen beside it. */
export type DeliverDraft = Pick<
  DeliverOrder,
  | "framesPerSecond"
  | "videoBox"
  | "videos"
  | "sequence"
  | "keogram"
  | "starTrail"
  | "contactSheet"
  | "report"
  | "sidecars"
>;

/** As the form first shows it. */
export const FIRST_DRAFT: DeliverDraft = {
  framesPerSecond: 25,
  videoBox: { widthPx: 1920, heightPx: 1080 },
  videos: ["h264", "vp9"],
  sequence: "jpeg",
  keogram: true,
  starTrail: true,
  contactSheet: true,
  report: true,
  sidecars: false,
};
