import type { DeliverJob, DeliverOrder, MorningView } from "../../../core/api/deliverMessages.ts";
import type { NightSummary } from "../../../core/api/messages.ts";
import type { SetEdits } from "../../../core/frames/frameSets.ts";
import { ask, tell } from "./client.ts";

export function fetchNights(): Promise<readonly NightSummary[]> {
  return ask("/api/nights");
}

export function fetchMorning(nightId: string): Promise<MorningView> {
  return ask(`${nightPath(nightId)}/morning`);
}

export function fetchJobs(nightId: string): Promise<readonly DeliverJob[]> {
  return ask(`${nightPath(nightId)}/deliveries`);
}

export function startDelivery(nightId: string, order: Partial<DeliverOrder>): Promise<DeliverJob> {
  return tell("POST", `${nightPath(nightId)}/deliveries`, order);
}

export function cancelDelivery(jobId: string): Promise<unknown> {
  return tell("POST", `/api/deliveries/${encodeURIComponent(jobId)}/cancel`, {});
}

export function resumeDelivery(jobId: string): Promise<DeliverJob> {
  return tell("POST", `/api/deliveries/${encodeURIComponent(jobId)}/resume`, {});
}

export function setPick(
  nightId: string,
  frame: { cameraId: string; frameIndex: number },
  pick: "keep" | "leave" | null,
): Promise<MorningView> {
  const { cameraId, frameIndex } = frame;
  return tell("PUT", `${nightPath(nightId)}/picks`, { cameraId, frameIndex, pick });
}

export function setEdits(nightId: string, edits: SetEdits): Promise<MorningView> {
  return tell("PUT", `${nightPath(nightId)}/edits`, edits);
}

export function deliveredUrl(nightId: string, path: string): string {
  return `${nightPath(nightId)}/delivered?path=${encodeURIComponent(path)}`;
}

function nightPath(nightId: string): string {
  return `/api/nights/${encodeURIComponent(nightId)}`;
}
