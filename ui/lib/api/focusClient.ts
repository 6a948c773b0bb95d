import type { FocusView, FramingView } from "../../../core/api/focusMessages.ts";
import { ask, tell } from "./client.ts";

export function fetchFocus(): Promise<FocusView> {
  return ask("/api/focus");
}

export function startFocus(cameraId: string): Promise<FocusView> {
  return tell("POST", "/api/focus/start", { cameraId });
}

export function stopFocus(): Promise<FocusView> {
  return tell("POST", "/api/focus/stop", {});
}

export function starUrl(pictureIndex: number): string {
  return `/api/focus/star.jpg?index=${pictureIndex}`;
}

export function fetchFraming(): Promise<FramingView> {
  return ask("/api/framing");
}

export function startFraming(cameraId: string): Promise<FramingView> {
  return tell("POST", "/api/framing/start", { cameraId });
}

export function framingUrl(pictureIndex: number): string {
  return `/api/framing/picture.jpg?index=${pictureIndex}`;
}
