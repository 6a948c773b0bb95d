import type { NightCurves } from "../../../core/api/nightCurves.ts";
import type { FrameRecord } from "../../../core/watch/frameRecord.ts";
import type { CameraNight } from "../api/client.ts";
import { merged, pointOf, pointsOf, type TracePoint } from "./tracePoint.ts";

/** Every frame of one camera's night that has been opened, by rising index; fed by requests and the socket. */
export class NightTrace {
  nightId = $state.raw<string | null>(null);
  cameraId = $state.raw<string | null>(null);
  points = $state.raw<readonly TracePoint[]>([]);
  /** True once the frames before the page was opened are here. */
  isLoaded = $state.raw(false);

  /** Highest index heard of, frames without a place on the strip included; −1: none. */
  lastIndex = $state.raw(-1);
  #isCatchingUp = false;

  /** What it traces, as requests name it; null before a night is open. */
  readonly of = $derived<CameraNight | null>(
    this.nightId === null ? null : { nightId: this.nightId, cameraId: this.cameraId },
  );

  /** Begins another night, or another camera's part of it; null: the night's first camera. */
  open(nightId: string | null, cameraId: string | null = null): void {
    if (nightId === this.nightId && cameraId === this.cameraId) return;
    this.nightId = nightId;
    this.cameraId = cameraId;
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
    if (this.cameraId !== null && frame.cameraId !== this.cameraId) return;
    this.lastIndex = Math.max(this.lastIndex, frame.frameIndex);
    const point = pointOf(frame);
    if (point !== null) this.points = merged(this.points, [point]);
  }

  /** What was asked for before another night or camera was opened is left aside. */
  applyCurves(nightId: string, curves: NightCurves, cameraId: string | null = null): void {
    if (nightId !== this.nightId || cameraId !== this.cameraId) return;
    this.lastIndex = Math.max(this.lastIndex, curves.frameIndex.at(-1) ?? -1);
    this.points = merged(this.points, pointsOf(curves));
    this.isLoaded = true;
  }

  /**
   * Asks for what is missing. A failure is left to the next message, which asks again; the status line
   * reports the link.
   */
  async catchUp(
    fetchCurves: (of: CameraNight, fromIndex: number) => Promise<NightCurves>,
  ): Promise<void> {
    const { of } = this;
    if (of === null || this.#isCatchingUp) return;
    this.#isCatchingUp = true;
    try {
      this.applyCurves(of.nightId, await fetchCurves(of, this.knownUpTo), of.cameraId);
    } catch {
      // As it says above.
    } finally {
      this.#isCatchingUp = false;
      // Another camera was chosen while this one's frames were on their way.
      if (this.of !== of) void this.catchUp(fetchCurves);
    }
  }
}
