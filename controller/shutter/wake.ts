/** A pause that ends by time or because something happened, whichever is first. */
export class Wake {
  #isDue = false;
  #end: (() => void) | null = null;

  /** Ends the running pause, or makes the next one end at once: nothing that happened is missed. */
  ring(): void {
    this.#isDue = true;
    this.#end?.();
  }

  /** Waits at most this many real milliseconds. */
  async pause(timeoutMs: number): Promise<void> {
    if (!this.#isDue) {
      await new Promise<void>((resolve) => {
        const timer = setTimeout(resolve, Math.min(Math.max(timeoutMs, 0), 2 ** 30));
        this.#end = () => {
          clearTimeout(timer);
          resolve();
        };
      });
    }
    this.#end = null;
    this.#isDue = false;
  }
}
