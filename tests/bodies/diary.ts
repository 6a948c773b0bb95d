/** One opening of the shutter, as the body lived it. */
export type Opening = {
  readonly way: "open" | "timed" | "maker";
  readonly openedMs: number;
  /** Null while it is open. */
  closedMs: number | null;
  /** What the exposure time stood at, in seconds; null: at bulb. */
  readonly setSeconds: number | null;
  readonly iso: number;
};

export type Refusal = {
  readonly operation: number;
  readonly response: number;
  readonly atMs: number;
};

/** What a body saw of its host: the judge of a night. */
export class Diary {
  readonly openings: Opening[] = [];
  readonly refusals: Refusal[] = [];
  /** How often each operation was asked for. */
  readonly asked = new Map<number, number>();
  /** Timed captures at a speed that means bulb: a shutter that nothing closes. */
  timedAtBulb = 0;
  /** Settings written although the host had just read that value. */
  readonly writtenAgain: { readonly code: number; readonly value: string }[] = [];
  readonly written: { readonly code: number; readonly value: string; readonly atMs: number }[] = [];
  connections = 0;
  refusedConnections = 0;
  /** What the host sent against the standard. */
  readonly complaints: string[] = [];
  /** Operations that delete, format, reset or write. */
  readonly harmful: string[] = [];
  /** The last value of each property that the host has seen. */
  readonly #seen = new Map<number, string>();

  ask(operation: number): void {
    this.asked.set(operation, (this.asked.get(operation) ?? 0) + 1);
  }

  show(code: number, value: Buffer): void {
    this.#seen.set(code, value.toString("hex"));
  }

  /** A value changed: what the host knows of it is void. */
  forget(code: number): void {
    this.#seen.delete(code);
  }

  write(code: number, value: Buffer, atMs: number): void {
    const hex = value.toString("hex");
    this.written.push({ code, value: hex, atMs });
    if (this.#seen.get(code) === hex) this.writtenAgain.push({ code, value: hex });
  }

  get shutterIsOpen(): boolean {
    return this.openings.some(({ closedMs }) => closedMs === null);
  }

  /** Refused openings in a row without one that worked, at worst. */
  refusedOpenings(operations: readonly number[], busy: number): number {
    return this.refusals.filter(
      ({ operation, response }) => operations.includes(operation) && response !== busy,
    ).length;
  }
}
