/** What has been opened so far, to be closed in the reverse order. */
export class OpenedParts {
  readonly #closers: (() => unknown)[] = [];

  /** Takes charge of a part, and hands it back. */
  add<T>(part: T, close: (part: T) => unknown): T {
    this.#closers.push(() => close(part));
    return part;
  }

  /** Closes everything; one part's failure keeps no other open, and is thrown at the end. */
  async close(): Promise<void> {
    const failures: unknown[] = [];
    for (let close = this.#closers.pop(); close; close = this.#closers.pop()) {
      try {
        await close();
      } catch (thrown) {
        failures.push(thrown);
      }
    }
    if (failures.length > 0) throw failures[0];
  }
}
