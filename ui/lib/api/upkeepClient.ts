import type {
  FoundFrames,
  FrameSearch,
  UpkeepJob,
  UpkeepOrder,
  PruneOutlook,
  PruneRuleName,
} from "../../../core/api/upkeepMessages.ts";
import { ask, tell } from "./client.ts";

export function findFrames(nightId: string, search: FrameSearch): Promise<FoundFrames> {
  const query = new URLSearchParams();
  const add = (name: string, value: number | string | null): void => {
    if (value !== null) query.set(name, String(value));
  };
  add("camera", search.cameraId);
  add("from", search.fromUtcMs);
  add("to", search.toUtcMs);
  add("brighter", search.brighterThanCdM2);
  add("darker", search.darkerThanCdM2);
  add("surge", search.isInSurge ? 1 : null);
  return ask(`${nightPath(nightId)}/find?${query.toString()}`);
}

export function fetchUpkeepJobs(nightId: string): Promise<readonly UpkeepJob[]> {
  return ask(`${nightPath(nightId)}/upkeep`);
}

export function startUpkeep(nightId: string, order: UpkeepOrder): Promise<UpkeepJob> {
  return tell("POST", `${nightPath(nightId)}/upkeep`, order);
}

export function cancelUpkeep(jobId: string): Promise<UpkeepJob> {
  return tell("POST", `/api/upkeep/${encodeURIComponent(jobId)}/cancel`, {});
}

export function fetchPruneOutlook(nightId: string, rule: PruneRuleName): Promise<PruneOutlook> {
  return ask(`${nightPath(nightId)}/prune?rule=${rule}`);
}

function nightPath(nightId: string): string {
  return `/api/nights/${encodeURIComponent(nightId)}`;
}
