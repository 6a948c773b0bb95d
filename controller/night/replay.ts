import type { Exposure } from "../../core/exposure/exposure.ts";
import type { WatchEvent } from "../../core/watch/events.ts";
import { idleWatch } from "../../core/watch/idleWatch.ts";
import { reduceWatch } from "../../core/watch/reduce.ts";
import type { WatchState } from "../../core/watch/state.ts";
import type { Catalogue } from "../archive/catalogue.ts";

/** How one camera's decisions came out when its events were played again. */
type ReplayReport = {
  readonly cameraId: string;
  readonly eventCount: number;
  readonly orderCount: number;
  /** One line for each frame whose exposure or reasons came out differently. */
  readonly differences: readonly string[];
};

/** Plays a night's events through the watch again, camera by camera. */
export function replayNight(catalogue: Catalogue): readonly ReplayReport[] {
  return catalogue.cameraIds().map((cameraId) => replayCamera(catalogue, cameraId));
}

function replayCamera(catalogue: Catalogue, cameraId: string): ReplayReport {
  let state: WatchState = idleWatch();
  let eventCount = 0;
  let orderCount = 0;
  const differences: string[] = [];
  for (const { atMs, kind, body } of catalogue.events()) {
    const { cameraId: of, ...rest } = body as { cameraId?: string };
    if (of !== cameraId) continue;
    eventCount += 1;
    // A restart begins with an idle watch, as the daemon did.
    if (kind === "started") state = idleWatch();
    const step = reduceWatch(state, { ...rest, kind, atMs } as WatchEvent);
    state = step.state;
    for (const effect of step.effects) {
      if (effect.kind !== "expose") continue;
      orderCount += 1;
      const frame = catalogue.frame(cameraId, effect.frameIndex);
      if (!frame) differences.push(`frame ${effect.frameIndex} was never ordered`);
      else if (!isSame(frame.ordered, effect.exposure)) {
        differences.push(
          `frame ${effect.frameIndex}: was ${text(frame.ordered)}, came out ${text(effect.exposure)}`,
        );
      }
    }
  }
  return { cameraId, eventCount, orderCount, differences };
}

function isSame(a: Exposure, b: Exposure): boolean {
  return a.exposureSeconds === b.exposureSeconds && a.iso === b.iso && a.fNumber === b.fNumber;
}

function text({ exposureSeconds, iso, fNumber }: Exposure): string {
  return `${exposureSeconds} s ISO ${iso} f/${fNumber}`;
}
