import type {
  BeginOrder,
  BeginView,
  CameraOffer,
  FoundCameras,
} from "../../../core/api/beginMessages.ts";
import { ask, tell } from "./client.ts";

export function fetchBegin(): Promise<BeginView> {
  return ask("/api/begin");
}

export function findCameras(): Promise<FoundCameras> {
  return ask("/api/cameras/found");
}

export function tryCamera(camera: string): Promise<CameraOffer> {
  return tell("POST", "/api/cameras/try", { camera });
}

export function beginNight(order: BeginOrder): Promise<BeginView> {
  return tell("POST", "/api/begin", order);
}
