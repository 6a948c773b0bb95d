import type { WatchEvent } from "../../core/watch/events.ts";
import type { CameraDescription, CameraEvent } from "../cameras/camera.ts";

type Bare<T> = T extends { readonly atMs: unknown } ? Omit<T, "atMs"> : never;

/** An event of the watch that has not got its time yet. */
export type BareWatchEvent = Bare<WatchEvent>;

/** What a camera tells, as the watch hears it. */
export function watchEventOf(event: CameraEvent, isToneCurveKnown: boolean): BareWatchEvent {
  switch (event.kind) {
    case "connected":
      return connected(event.description, isToneCurveKnown);
    case "shutterOpened":
      return { kind: "shutterOpened", frameIndex: event.frameIndex };
    case "shutterClosed": {
      const { frameIndex, happened, closing } = event;
      return { kind: "shutterClosed", frameIndex, happened, ...(closing && { closing }) };
    }
    case "ready":
      return { kind: "cameraReady" };
    case "frameArrived":
      return { kind: "frameArrived", frameIndex: event.frameIndex };
    case "frameMissing":
      return { kind: "frameMissing", frameIndex: event.frameIndex, why: event.why };
    case "remarked":
      return { kind: "cameraRemarked", sentence: event.sentence };
    case "status": {
      const { batteryPercent, freeBytes, freeFrames } = event;
      return { kind: "statusRead", batteryPercent, freeBytes, freeFrames };
    }
    case "failed": {
      const { code, sentence, frameIndex, gone, looseSinceMs } = event;
      const loose = looseSinceMs === undefined ? {} : { looseSinceMs };
      return { kind: "cameraFailed", code, sentence, frameIndex, gone, ...loose };
    }
  }
}

function connected(reported: CameraDescription, isToneCurveKnown: boolean): BareWatchEvent {
  return {
    kind: "cameraConnected",
    isoLadder: reported.isoLadder,
    fixedIso: reported.fixedIso,
    fNumber: reported.fNumber,
    program: reported.program,
    clockOffsetMs: reported.clockOffsetMs ?? undefined,
    canTakeFrames: reported.hasBulb || reported.exposureLadderSeconds.length > 0,
    isToneCurveKnown,
    looseSinceMs: reported.looseSinceMs,
    ...(reported.remarks && reported.remarks.length > 0 ? { remarks: reported.remarks } : {}),
  };
}
