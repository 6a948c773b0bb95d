import type { Camera, CameraEvent } from "../../controller/cameras/camera.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import { monotonicMs } from "../../core/units.ts";

type EventOf<K extends CameraEvent["kind"]> = Extract<CameraEvent, { kind: K }>;

/** Writes down what a camera says, and lets a test wait for the next thing of a kind. */
export type CameraDiary = {
  readonly events: CameraEvent[];
  /** The first event of this kind that no earlier call has returned. */
  next<K extends CameraEvent["kind"]>(kind: K): Promise<EventOf<K>>;
  kinds(): readonly string[];
};

export function keepDiary(listen: (listener: (event: CameraEvent) => void) => void): CameraDiary {
  const events: CameraEvent[] = [];
  const unread: CameraEvent[] = [];
  const waiting: { kind: string; resolve: (event: CameraEvent) => void }[] = [];
  listen((event) => {
    events.push(event);
    const at = waiting.findIndex(({ kind }) => kind === event.kind);
    if (at >= 0) waiting.splice(at, 1)[0]?.resolve(event);
    else unread.push(event);
  });
  return {
    events,
    next: (kind) => {
      const at = unread.findIndex((event) => event.kind === kind);
      if (at >= 0) return Promise.resolve(unread.splice(at, 1)[0] as never);
      return new Promise((resolve) => waiting.push({ kind, resolve: resolve as never }));
    },
    kinds: () => events.map(({ kind }) => kind),
  };
}

/** Orders a frame at once. */
export function orderFrame(
  camera: Pick<Camera, "expose">,
  frameIndex: number,
  exposure: Partial<Exposure> = {},
): void {
  camera.expose({
    frameIndex,
    exposure: { exposureSeconds: 4, iso: 800, fNumber: 2.8, ...exposure },
    openAtMs: monotonicMs(0),
  });
}
