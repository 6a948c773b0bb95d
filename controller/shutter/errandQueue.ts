import { asNightError, NightError } from "../../core/errors.ts";
import { REAL_TIME, type RealTime } from "../timing/clock.ts";
import type { Errand, Need } from "./errand.ts";

/** An errand with its place in the queue. */
type Task = {
  /** Lower goes first. */
  readonly rank: number;
  readonly errand: Errand;
  /** Told when the errand comes to nothing: failed, lost with the link, or crowded out. */
  readonly drop: (error: NightError) => void;
};

type Waiting = Task & { need: Need | null };

/** More than any night needs; a link too slow for its frames fills it. */
const TASKS_MAX = 500;
/**
 * How late a transaction may be before it is cut, real milliseconds. Cutting is a camera's weak
 * spot, and a few hundredths of a second of exposure are cheaper than a lost link.
 */
const OVERDUE_MS = 30;

/** The errands that wait for room between the shutter's movements. */
export class ErrandQueue {
  readonly #time: RealTime;
  #waiting: Waiting[] = [];
  /** Real time of the latest look for an errand that fits. */
  #lookedAtMs = -Infinity;

  constructor(time: RealTime = REAL_TIME) {
    this.#time = time;
  }

  add(task: Task): void {
    this.#waiting.push({ ...task, need: null });
    this.#waiting.sort((one, other) => one.rank - other.rank);
    if (this.#waiting.length <= TASKS_MAX) return;
    this.#waiting.pop()?.drop(new NightError("camera.busy", "the camera's link is too slow"));
  }

  has(rank: number): boolean {
    return this.#waiting.some((task) => task.rank === rank);
  }

  /**
   * Takes one step of the first errand that fits.
   *
   * @param time.leftMs  Until the shutter must move, real milliseconds; Infinity: it need not.
   * @param time.stepMs  Longest wanted step; a single small transaction may take longer.
   * @returns false when nothing fits.
   * @throws NightError `camera.gone`; any other failure costs the errand alone.
   */
  async step(time: { readonly leftMs: number; readonly stepMs: number }): Promise<boolean> {
    const nowMs = this.#time.nowMs();
    this.#lookedAtMs = nowMs;
    const task = this.#waiting.find(
      ({ need }) => need === null || (need.notBeforeMs <= nowMs && need.atLeastMs <= time.leftMs),
    );
    if (!task) return false;
    const budgetMs = Math.min(time.leftMs, Math.max(time.stepMs, task.need?.atLeastMs ?? 0));
    const cut = new AbortController();
    const callOff = this.#time.after(time.leftMs + OVERDUE_MS, () => cut.abort());
    try {
      const step = await task.errand.next({ budgetMs, signal: cut.signal });
      if (step.done) this.#remove(task);
      else task.need = step.value;
    } catch (thrown) {
      const error = asNightError(thrown);
      this.#remove(task);
      task.drop(error);
      if (error.code === "camera.gone") throw error;
    } finally {
      callOff();
    }
    return true;
  }

  /**
   * Real time at which an errand that was too early at the latest look may go on; Infinity: none
   * was. It may be over by now: measured against now instead, such an errand would never be woken.
   */
  get nextMs(): number {
    const times = this.#waiting.map(({ need }) => need?.notBeforeMs ?? -Infinity);
    return Math.min(...times.filter((atMs) => atMs > this.#lookedAtMs));
  }

  dropAll(error: NightError): void {
    const dropped = this.#waiting;
    this.#waiting = [];
    for (const task of dropped) task.drop(error);
  }

  #remove(task: Waiting): void {
    this.#waiting = this.#waiting.filter((other) => other !== task);
  }
}
