import { basename, join } from "node:path";
import type { NightSummary } from "../../core/api/messages.ts";
import { NightError } from "../../core/errors.ts";
import { Catalogue } from "../archive/catalogue.ts";
import { listNights, NIGHTS_FOLDER, nightInfoOf } from "../archive/nightFolder.ts";

/** Older nights that are kept open at once. */
const OPEN_NIGHTS_MAX = 4;

/** Tonight and the nights before it, each opened when it is asked for. */
export class NightCatalogues {
  readonly #dataDir: string;
  readonly #tonight: Catalogue | null;
  readonly #opened = new Map<string, Catalogue>();

  constructor(dataDir: string, tonight: Catalogue | null) {
    this.#dataDir = dataDir;
    this.#tonight = tonight;
  }

  list(): readonly NightSummary[] {
    return listNights(this.#dataDir);
  }

  /** Name of the night being watched; null: there is none. */
  get tonightId(): string | null {
    return this.#tonight && basename(this.#tonight.nightDir);
  }

  /** @throws NightError `archive.corrupt` for a night that does not say what it is. */
  tonight(): NightSummary | null {
    if (this.#tonight === null) return null;
    const info = nightInfoOf(this.#tonight);
    if (!info) throw new NightError("archive.corrupt", "The night does not say what it is.");
    const { nightDir } = this.#tonight;
    return { nightId: basename(nightDir), ...info, frameCount: this.#tonight.frameCount() };
  }

  /** @throws NightError `archive.*` for a night that there is not, or that cannot be read. */
  catalogueOf(nightId: string): Catalogue {
    if (this.#tonight && nightId === this.tonightId) return this.#tonight;
    const known = this.#opened.get(nightId);
    if (known) return known;
    if (!this.list().some((night) => night.nightId === nightId)) {
      throw new NightError("archive.not_found", `There is no night called ${nightId}.`);
    }
    const nightDir = join(this.#dataDir, NIGHTS_FOLDER, nightId);
    const opened = Catalogue.open(nightDir, { readOnly: true });
    this.#opened.set(nightId, opened);
    this.#closeOldest();
    return opened;
  }

  #closeOldest(): void {
    const oldest = this.#opened.keys().next().value;
    if (this.#opened.size <= OPEN_NIGHTS_MAX || oldest === undefined) return;
    this.#opened.get(oldest)?.close();
    this.#opened.delete(oldest);
  }

  close(): void {
    for (const catalogue of this.#opened.values()) catalogue.close();
    this.#opened.clear();
    this.#tonight?.close();
  }
}
