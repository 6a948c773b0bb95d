import { asNightError, NightError } from "../../core/errors.ts";
import { REAL_TIME, type RealTime } from "../timing/clock.ts";
import type { CameraTask, Need } from "./cameraTask.ts";

/** A task with its place in the queue. */
type QueueEntry = {
  /** Lower goes first. */
  readonly rank: number;
  readonly task: CameraTask;
  /** Called when the task comes to nothing: failed, lost with the link, or crowded out. */
  readonly drop: (error: NightError) => void;
};

type Waiting = QueueEntry & { need: Need | null };

/** More than any night needs; a link too slow for its frames fills it. */
const ENTRIES_MAX = 500;
/**
 * How late a transaction may be before it is cut, real milliseconds. Cutting is a camera's weak
 * spot, and a few hundredths of a second of exposure are cheaper than a lost link.
 */
const OVERDUE_MS = 30;

/** The tasks that wait for room between the shutter's movements. */
export class CameraTaskQueue {
  readonly #time: RealTime;
  #waiting: Waiting[] = [];
  /** Real time of the latest look for a task that fits. */
  #lookedAtMs = -Infinity;

  constructor(time: RealTime = REAL_TIME) {
    this.#time = time;
  }

  add(entry: QueueEntry): void {
    this.#waiting.push({ ...entry, need: null });
    this.#waiting.sort((one, other) => one.rank - other.rank);
    if (this.#waiting.length <= ENTRIES_MAX) return;
    this.#waiting.pop()?.drop(new NightError("camera.busy", "the camera's link is too slow"));
  }

  has(rank: number): boolean {
    return this.#waiting.some((entry) => entry.rank === rank);
  }

  /**
   * Takes one step of the first task that fits.
   *
   * @param time.leftMs  Until the shutter must move, real milliseconds; Infinity: it need not.
   * @param time.stepMs  Longest wanted step; a single small transaction may take longer.
   * @returns false when nothing fits.
   * @throws NightError `camera.gone`; any other failure costs the task alone.
   */
  async step(time: { readonly leftMs: number; readonly stepMs: number }): Promise<boolean> {
    const nowMs = this.#time.nowMs();
    this.#lookedAtMs = nowMs;
    const entry = this.#waiting.find(
      ({ need }) => need === null || (need.notBeforeMs <= nowMs && need.atLeastMs <= time.leftMs),
    );
    if (!entry) return false;
    const budgetMs = Math.min(time.leftMs, Math.max(time.stepMs, entry.need?.atLeastMs ?? 0));
    const cut = new AbortController();
    const callOff = this.#time.after(time.leftMs + OVERDUE_MS, () => cut.abort());
    try {
      const step = await entry.task.next({ budgetMs, signal: cut.signal });
      if (step.done) this.#remove(entry);
      else entry.need = step.value;
    } catch (thrown) {
      const error = asNightError(thrown);
      this.#remove(entry);
      entry.drop(error);
      if (error.code === "camera.gone") throw error;
    } finally {
      callOff();
    }
    return true;
  }

  /**
   * Real time at which a task that was too early at the latest look may go on; Infinity: none
   * was. It may be over by now: measured against now instead, such a task would never be woken.
   */
  get nextMs(): number {
    const times = this.#waiting.map(({ need }) => need?.notBeforeMs ?? -Infinity);
    return Math.min(...times.filter((atMs) => atMs > this.#lookedAtMs));
  }

  dropAll(error: NightError): void {
    const dropped = this.#waiting;
    this.#waiting = [];
    for (const entry of dropped) entry.drop(error);
  }

  #remove(entry: Waiting): void {
    this.#waiting = this.#waiting.filter((other) => other !== entry);
  }
}
