import type { NightCurves } from "../../../core/api/nightCurves.ts";
import type { FrameRecord } from "../../../core/night/frameRecord.ts";
import { merged, pointOf, pointsOf, type TracePoint } from "./tracePoint.ts";

/** Every frame of one night that has been opened, by rising index; fed by requests and the socket. */
export class NightTrace {
  nightId = $state.raw<string | null>(null);
  points = $state.raw<readonly TracePoint[]>([]);
  /** True once the frames before the page was opened are here. */
  isLoaded = $state.raw(false);

  /** Highest index heard of, frames without a place on the strip included; −1: none. */
  lastIndex = $state.raw(-1);

  /** Begins another night. */
  open(nightId: string | null): void {
    if (nightId === this.nightId) return;
    this.nightId = nightId;
    this.points = [];
    this.isLoaded = false;
    this.lastIndex = -1;
  }

  /** Index from which frames may be missing here: everything before it is known and final. */
  get knownUpTo(): number {
    let expected = 0;
    for (const point of this.points) {
      if (point.frameIndex > expected || !point.hasFile) break;
      expected = point.frameIndex + 1;
    }
    return expected;
  }

  applyFrame(nightId: string, frame: FrameRecord): void {
    if (nightId !== this.nightId) return;
    this.lastIndex = Math.max(this.lastIndex, frame.frameIndex);
    const point = pointOf(frame);
    if (point !== null) this.points = merged(this.points, [point]);
  }

  applyCurves(nightId: string, curves: NightCurves): void {
    if (nightId !== this.nightId) return;
    this.lastIndex = Math.max(this.lastIndex, curves.frameIndex.at(-1) ?? -1);
    this.points = merged(this.points, pointsOf(curves));
    this.isLoaded = true;
  }
}
