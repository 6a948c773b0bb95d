import type { DeliverOrder, DeliverStage } from "../../core/api/deliverMessages.ts";
import type { ProgressCounter, WorkStep } from "./progress.ts";

export type DeliveryStep = WorkStep & { readonly stage: DeliverStage };
export type DeliveryProgress = ProgressCounter<DeliveryStep>;

/**
 * Work of one frame, in the unit of measuring one; from timings, and only for the time left.
 * `extra`: its share of a keogram, a contact sheet, a star trail or the report.
 */
export const UNITS = {
  measure: 1,
  render: 2,
  video: { h264: 2, vp9: 5, av1: 8 },
  extra: 0.1,
} as const;

/** The whole work of a delivery, in the same unit. */
export function unitsOf(order: DeliverOrder, frameCount: number): number {
  const { videos, keogram, contactSheet, starTrail, report } = order;
  const video = videos.reduce((sum, kind) => sum + UNITS.video[kind], 0);
  const isRendered = order.sequence !== "none" || videos.length > 0 || starTrail;
  const extras = [keogram, contactSheet, starTrail, report].filter(Boolean).length;
  return (
    frameCount * (UNITS.measure + (isRendered ? UNITS.render : 0) + video + extras * UNITS.extra)
  );
}
