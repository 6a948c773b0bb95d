import type { NightTimeline, WatchView } from "../../../core/api/messages.ts";
import type { NightCurves } from "../../../core/api/nightCurves.ts";
import type { NightLight } from "../../../core/plan/nightLight.ts";
import type { ExposureSettings } from "../../../core/exposure/settings.ts";
import type { FrameRecord } from "../../../core/watch/frameRecord.ts";
import type { HandOrder } from "../state/handOrders.svelte.ts";
import { words } from "../../../core/words/words.ts";

/** A refusal of the daemon, or its silence, as one sentence that can be shown. */
export class ApiError extends Error {
  readonly code: string;

  constructor(code: string, sentence: string) {
    super(sentence);
    this.name = "ApiError";
    this.code = code;
  }
}

/** Asks the daemon. @throws ApiError with one sentence, whatever went wrong. */
export async function ask<T>(path: string, init: RequestInit = {}): Promise<T> {
  const response = await send(path, init);
  return (await response.json()) as T;
}

/** Sends a JSON body. @throws ApiError with one sentence. */
export function tell<T>(method: "POST" | "PUT" | "PATCH" | "DELETE", path: string, body: unknown) {
  return ask<T>(path, {
    method,
    headers: { "content-type": "application/json" },
    body: JSON.stringify(body),
  });
}

async function send(path: string, init: RequestInit): Promise<Response> {
  let response: Response;
  try {
    response = await fetch(path, init);
  } catch (thrown) {
    if (thrown instanceof DOMException && thrown.name === "AbortError") throw thrown;
    throw new ApiError("page.unreachable", words.link.unreachable);
  }
  if (response.ok) return response;
  const answer = (await response.json().catch(() => ({}))) as Partial<{
    code: string;
    sentence: string;
  }>;
  throw new ApiError(answer.code ?? "page.refused", answer.sentence ?? words.link.refused);
}

/** Tells a watch something; a page that is being closed still sends it. */
export function orderWatch(cameraId: string, order: HandOrder): Promise<WatchView> {
  const body = order.kind === "pause" && order.minutes !== null ? { minutes: order.minutes } : {};
  return ask(`/api/watches/${encodeURIComponent(cameraId)}/${order.kind}`, {
    method: "POST",
    keepalive: true,
    headers: { "content-type": "application/json" },
    body: JSON.stringify(body),
  });
}

export function changeSettings(
  cameraId: string,
  settings: Partial<ExposureSettings>,
): Promise<WatchView> {
  return tell("PATCH", `/api/watches/${encodeURIComponent(cameraId)}/settings`, settings);
}

/** One camera's part of a night: a frame's index is unique within it. null: the night's first. */
export type CameraNight = { readonly nightId: string; readonly cameraId: string | null };

export function fetchCurves(of: CameraNight, fromIndex: number): Promise<NightCurves> {
  return ask(`${nightPath(of.nightId)}/curves?from=${fromIndex}${andCamera(of)}`);
}

/** null: the night does not know its place. */
export function fetchLight(nightId: string): Promise<NightLight | null> {
  return ask(`${nightPath(nightId)}/light`);
}

export function fetchTimeline(of: CameraNight): Promise<NightTimeline> {
  return ask(`${nightPath(of.nightId)}/timeline?${andCamera(of).slice(1)}`);
}

export function fetchFrame(of: CameraNight, frameIndex: number): Promise<FrameRecord> {
  return ask(`${framePath(of, frameIndex)}?${andCamera(of).slice(1)}`);
}

export async function fetchKeogram(
  of: CameraNight,
  range: { fromIndex: number; count: number },
): Promise<ImageBitmap> {
  const query = `from=${range.fromIndex}&count=${range.count}${andCamera(of)}`;
  const response = await send(`${nightPath(of.nightId)}/keogram.png?${query}`, {});
  return createImageBitmap(await response.blob());
}

export function thumbUrl(of: CameraNight, frameIndex: number): string {
  return `${framePath(of, frameIndex)}/thumb.jpg?${andCamera(of).slice(1)}`;
}

export function imageUrl(of: CameraNight, frameIndex: number, width: number): string {
  return `${framePath(of, frameIndex)}/image.jpg?width=${width}${andCamera(of)}`;
}

function framePath(of: CameraNight, frameIndex: number): string {
  return `${nightPath(of.nightId)}/frames/${frameIndex}`;
}

function andCamera({ cameraId }: CameraNight): string {
  return cameraId === null ? "" : `&camera=${encodeURIComponent(cameraId)}`;
}

function nightPath(nightId: string): string {
  return `/api/nights/${encodeURIComponent(nightId)}`;
}
