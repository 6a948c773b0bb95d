import type { BenchView } from "../../../core/api/benchMessages.ts";
import { ask, tell } from "./client.ts";

export function fetchBench(): Promise<BenchView> {
  return ask("/api/bench-check");
}

export function startBench(cameraId: string): Promise<BenchView> {
  return tell("POST", "/api/bench-check/start", { cameraId });
}

export function stopBench(): Promise<BenchView> {
  return tell("POST", "/api/bench-check/stop", {});
}
