import { mkdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { asNightError } from "../../../core/errors.ts";
import { writeDurably } from "../../durableWrite.ts";
import { ORIGINALS_LIST, type ListedOriginal } from "../../archive/originals.ts";
import type { Log } from "../../log.ts";
import type { KeptOriginal } from "./originalFile.ts";

/** An original that is still on the card alone. Names and dates survive a new session; handles do not. */
export type PendingOriginal = {
  readonly frameIndex: number;
  readonly cameraName: string;
  readonly captureDate: string;
  readonly attempts: number;
};

type Lists = {
  readonly pending: readonly PendingOriginal[];
  readonly kept: readonly ListedOriginal[];
};

/** Which originals are here and which are still to be fetched, as `originals.json` has it. */
export class OriginalsList {
  readonly #folder: string;
  readonly #log: Log;
  #lists: Lists;

  constructor(folder: string, log: Log) {
    this.#folder = folder;
    this.#log = log;
    this.#lists = readLists(join(folder, ORIGINALS_LIST));
  }

  get pending(): readonly PendingOriginal[] {
    return this.#lists.pending;
  }

  add(one: PendingOriginal): void {
    this.#lists = { ...this.#lists, pending: [...this.pending, one] };
  }

  noteKept(one: PendingOriginal, file: string, kept: KeptOriginal): void {
    const { frameIndex, cameraName } = one;
    this.#lists = {
      pending: this.pending.filter((other) => other !== one),
      kept: [...this.#lists.kept, { frameIndex, cameraName, file, ...kept }],
    };
  }

  noteFailed(one: PendingOriginal): void {
    const failed = { ...one, attempts: one.attempts + 1 };
    const pending = this.pending.map((other) => (other === one ? failed : other));
    this.#lists = { ...this.#lists, pending };
  }

  async write(): Promise<void> {
    try {
      mkdirSync(this.#folder, { recursive: true });
      await writeDurably(join(this.#folder, ORIGINALS_LIST), JSON.stringify(this.#lists, null, 2));
    } catch (thrown) {
      // The originals are on the card all the same; the night does not stop for a list of them.
      this.#log.warn("original.list_not_written", { why: asNightError(thrown).message });
    }
  }
}

/** A new start tries every file again. */
function readLists(path: string): Lists {
  try {
    const { pending, kept } = JSON.parse(readFileSync(path, "utf8")) as Lists;
    return { pending: pending.map((one) => ({ ...one, attempts: 0 })), kept };
  } catch {
    // There is none yet, or it cannot be read: what is on the card stays there.
    return { pending: [], kept: [] };
  }
}
