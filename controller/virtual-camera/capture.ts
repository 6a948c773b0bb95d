import type { Exposure } from "../../core/exposure/exposure.ts";
import type { TransactionId } from "../../core/ptp/ids.ts";
import { monotonicMs, type MonotonicMs } from "../../core/units.ts";
import type { Clock } from "../timing/clock.ts";

/** Frames that may wait to become files while the shutter goes on: the camera's memory. */
const BUFFERED_FRAMES_MAX = 3;

/** An exposure that has begun. */
type Exposing = {
  /** `timed`: closes by the camera's own timer; `open`: when the host says so. */
  readonly kind: "timed" | "open";
  readonly frameIndex: number;
  readonly transactionId: TransactionId;
  readonly openedMs: MonotonicMs;
  /** As it was set; an open capture's time is only known at the end. */
  readonly exposure: Exposure;
  readonly isManual: boolean;
  /** Which session began it, counted from 1. */
  readonly sessionNumber: number;
};

/** The same when the shutter has closed. */
export type Exposed = Exposing & { readonly closedMs: MonotonicMs };

type CaptureOptions = {
  readonly clock: Clock;
  readonly busySeconds: number;
  readonly closeLagSeconds: number;
  readonly bulbLimitSeconds: number;
  readonly orphanSeconds: number;
  readonly onOpened: (exposing: Exposing) => void;
  readonly onClosed: (exposed: Exposed) => void;
};

/**
 * The shutter and what keeps it shut: one exposure at a time, then the readout, while earlier
 * frames may still be waiting to become files. There is no way to leave it open for good.
 */
export class Capture {
  readonly #options: CaptureOptions;
  #exposing: Exposing | null = null;
  #timer = new AbortController();
  #readyMs = -Infinity;
  #frameCount = 0;
  #closedOpenMs = 0;
  #bufferedCount = 0;
  /** Open captures that have ended, so that ending one twice can be distinguished from a wrong number. */
  readonly #terminated = new Set<string>();

  constructor(options: CaptureOptions) {
    this.#options = options;
  }

  get exposing(): Exposing | null {
    return this.#exposing;
  }

  get frameCount(): number {
    return this.#frameCount;
  }

  /** Time that the shutter has been open altogether, night ms. */
  openMs(): number {
    const running = this.#exposing;
    return this.#closedOpenMs + (running === null ? 0 : this.#now() - running.openedMs);
  }

  /** Whether the shutter, the readout or a full memory stands in the way of a new frame. */
  isBusy(): boolean {
    return (
      this.#exposing !== null ||
      this.#now() < this.#readyMs ||
      this.#bufferedCount >= BUFFERED_FRAMES_MAX
    );
  }

  /** Opens the shutter. The caller has made sure that the camera is not busy. */
  open(order: Omit<Exposing, "frameIndex" | "openedMs">): Exposing {
    const openedMs = this.#options.clock.monotonicMs();
    const exposing = { ...order, frameIndex: this.#frameCount, openedMs };
    this.#frameCount += 1;
    this.#exposing = exposing;
    const seconds =
      order.kind === "timed" ? order.exposure.exposureSeconds : this.#options.bulbLimitSeconds;
    this.#closeAt(monotonicMs(openedMs + seconds * 1000));
    this.#options.onOpened(exposing);
    return exposing;
  }

  /** Ends the open capture that this transaction began. */
  terminate(
    transactionId: number,
    sessionNumber: number,
  ): "closed" | "alreadyTerminated" | "notOpen" {
    const running = this.#exposing;
    const isThisOne =
      running?.kind === "open" &&
      running.transactionId === transactionId &&
      running.sessionNumber === sessionNumber;
    if (isThisOne) {
      // The answer does not wait for the blades: the host cannot see that they are late.
      this.#close(monotonicMs(this.#now() + this.#options.closeLagSeconds * 1000));
      return "closed";
    }
    const key = `${sessionNumber}/${transactionId}`;
    return this.#terminated.has(key) ? "alreadyTerminated" : "notOpen";
  }

  /** Nobody is there to end an open capture any more: it ends by itself, soon. */
  orphan(): void {
    if (this.#exposing?.kind !== "open") return;
    this.#closeAt(monotonicMs(this.#now() + this.#options.orphanSeconds * 1000));
  }

  /** Closes the shutter at once, whatever is running; the frame is kept. */
  closeNow(): void {
    if (this.#exposing !== null) this.#close(this.#now());
  }

  /** A frame has left the camera's memory: it is a file, or lost. */
  releaseBuffer(): void {
    this.#bufferedCount -= 1;
  }

  #now(): MonotonicMs {
    return this.#options.clock.monotonicMs();
  }

  #closeAt(deadlineMs: MonotonicMs): void {
    this.#timer.abort();
    this.#timer = new AbortController();
    const { signal } = this.#timer;
    this.#options.clock.sleepUntil(deadlineMs, signal).then(
      // The camera's own timer is exact; only this machine's wake-up is late.
      () => this.#close(deadlineMs),
      () => {
        // Closed otherwise, or at another time: nothing to do.
      },
    );
  }

  #close(closedMs: MonotonicMs): void {
    const running = this.#exposing;
    if (running === null) return;
    this.#timer.abort();
    this.#exposing = null;
    this.#readyMs = closedMs + this.#options.busySeconds * 1000;
    this.#closedOpenMs += closedMs - running.openedMs;
    this.#bufferedCount += 1;
    if (running.kind === "open") {
      this.#terminated.add(`${running.sessionNumber}/${running.transactionId}`);
    }
    const exposureSeconds = (closedMs - running.openedMs) / 1000;
    this.#options.onClosed({
      ...running,
      closedMs,
      exposure: { ...running.exposure, exposureSeconds },
    });
  }
}
