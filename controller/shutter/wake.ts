import { REAL_TIME, type RealTime } from "../timing/clock.ts";

/** A pause that ends by time or because something happened, whichever is first. */
export class Wake {
  readonly #time: RealTime;
  #isDue = false;
  #end: (() => void) | null = null;

  constructor(time: RealTime = REAL_TIME) {
    this.#time = time;
  }

  /** Ends the running pause, or makes the next one end at once: nothing that happened is missed. */
  ring(): void {
    this.#isDue = true;
    this.#end?.();
  }

  /** Waits at most this many real milliseconds. */
  async pause(timeoutMs: number): Promise<void> {
    if (!this.#isDue) {
      await new Promise<void>((resolve) => {
        const callOff = this.#time.after(timeoutMs, resolve);
        this.#end = () => {
          callOff();
          resolve();
        };
      });
    }
    this.#end = null;
    this.#isDue = false;
  }
}
