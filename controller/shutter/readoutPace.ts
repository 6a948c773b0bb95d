/** Share of the known time after which a camera is tried again: it may have become faster. */
const TRY_EARLIER = 0.97;
/** The same when it was ready at the first attempt, so that the true time is found soon. */
const TRY_MUCH_EARLIER = 0.5;

/**
 * Learns how long a camera reads out after the shutter has closed. The standard has no event for
 * "ready": an attempt to open is refused until then, and the file may be named before or after.
 */
export class ReadoutPace {
  #readoutMs: number | null = null;
  #closedMs: number | null = null;
  #wasBusy = false;

  /** Real milliseconds after closing at which the next opening is worth trying; null: unknown. */
  get readyAfterMs(): number | null {
    return this.#readoutMs;
  }

  noteClosed(atMs: number): void {
    this.#closedMs = atMs;
    this.#wasBusy = false;
  }

  /** An opening was refused because the camera was busy. */
  noteBusy(): void {
    this.#wasBusy = true;
  }

  /** An opening was accepted, at this real time. */
  noteOpened(atMs: number): void {
    if (this.#closedMs === null) return;
    const tookMs = atMs - this.#closedMs;
    this.#closedMs = null;
    if (this.#wasBusy) this.#readoutMs = tookMs * TRY_EARLIER;
    else if (this.#readoutMs === null || tookMs < this.#readoutMs * LATE_BUT_PROMPT) {
      this.#readoutMs = Math.min(this.#readoutMs ?? tookMs, tookMs) * TRY_MUCH_EARLIER;
    }
  }
}

/** An opening later than this was late for other reasons and says nothing of the camera. */
const LATE_BUT_PROMPT = 1.25;
