import { mkdirSync, readFileSync } from "node:fs";
import { dirname } from "node:path";

import { NightError } from "../../core/errors.ts";
import { writeDurablySync } from "../durableWrite.ts";

/** A list of named things, remembered in one JSON file of the data folder. */
export class RememberedFile<T extends { readonly name: string }> {
  readonly #path: string;
  readonly #parse: (value: unknown) => T;

  /** @param parse  Throws for an entry that is none; such an entry is an error of the file. */
  constructor(path: string, parse: (value: unknown) => T) {
    this.#path = path;
    this.#parse = parse;
  }

  /**
   * All entries by name; empty when there is no file yet.
   *
   * @throws NightError `settings.invalid` naming the file when it cannot be read as such a list.
   */
  list(): readonly T[] {
    let text: string;
    try {
      text = readFileSync(this.#path, "utf8");
    } catch (thrown) {
      if ((thrown as NodeJS.ErrnoException).code === "ENOENT") return [];
      throw this.#unreadable(thrown);
    }
    try {
      const value: unknown = JSON.parse(text);
      if (!Array.isArray(value)) throw new Error("not a list");
      return value.map((entry) => this.#parse(entry));
    } catch (thrown) {
      throw this.#unreadable(thrown);
    }
  }

  find(name: string): T | null {
    return this.list().find((entry) => entry.name === name) ?? null;
  }

  /** Keeps an entry; one of the same name is replaced. */
  put(entry: T): void {
    const others = this.list().filter(({ name }) => name !== entry.name);
    this.#write([...others, entry].sort((a, b) => a.name.localeCompare(b.name)));
  }

  /** Forgets an entry. @returns False when there was none. */
  remove(name: string): boolean {
    const entries = this.list();
    const rest = entries.filter((entry) => entry.name !== name);
    if (rest.length === entries.length) return false;
    this.#write(rest);
    return true;
  }

  #write(entries: readonly T[]): void {
    try {
      mkdirSync(dirname(this.#path), { recursive: true });
      writeDurablySync(this.#path, `${JSON.stringify(entries, null, 2)}\n`);
    } catch (thrown) {
      const why = thrown instanceof Error ? thrown.message : String(thrown);
      throw new NightError(
        "archive.read_only",
        `Cannot write ${this.#path}: ${why}`,
        {},
        { cause: thrown },
      );
    }
  }

  #unreadable(cause: unknown): NightError {
    const why = cause instanceof Error ? cause.message : String(cause);
    return new NightError(
      "settings.invalid",
      `Cannot read ${this.#path}: ${why}. Mend the file or delete it.`,
      {},
      { cause },
    );
  }
}
