import { basename, join } from "node:path";
import type { NightSummary } from "../../core/api/messages.ts";
import { NightError } from "../../core/errors.ts";
import { Catalogue } from "../archive/catalogue.ts";
import { damageOf, mendNight } from "../archive/mendCatalogue.ts";
import { listNights, NIGHTS_FOLDER, nightInfoOf } from "../archive/nightFolder.ts";

/** Older nights that are kept open at once. */
const OPEN_NIGHTS_MAX = 4;

/** Tonight and the nights before it, each opened when it is asked for. */
export class NightCatalogues {
  readonly #dataDir: string;
  readonly #tonight: Catalogue | null;
  readonly #opened = new Map<string, Catalogue>();
  readonly #say: (sentence: string) => void;
  /** Nights that were damaged when they were asked for, and are being made again. */
  readonly #mending = new Map<string, Promise<void>>();

  /** @param say  Reported what became of a damaged night. */
  constructor(dataDir: string, tonight: Catalogue | null, say: (sentence: string) => void) {
    this.#dataDir = dataDir;
    this.#tonight = tonight;
    this.#say = say;
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

  /**
   * An earlier night whose catalogue is damaged is made again; until then it cannot be read.
   *
   * @throws NightError `archive.*` for a night that there is not, or that cannot be read.
   */
  catalogueOf(nightId: string): Catalogue {
    if (this.#tonight && nightId === this.tonightId) return this.#tonight;
    const known = this.#opened.get(nightId);
    if (known) return known;
    if (!this.list().some((night) => night.nightId === nightId)) {
      throw new NightError("archive.not_found", `There is no night called ${nightId}.`);
    }
    const nightDir = join(this.#dataDir, NIGHTS_FOLDER, nightId);
    if (this.#isDamaged(nightId, nightDir)) {
      throw new NightError(
        "archive.corrupt",
        `The catalogue of ${nightId} is damaged. It is being made again from what can be read and from its pictures; open the night again in a minute.`,
      );
    }
    const opened = Catalogue.open(nightDir, { readOnly: true });
    this.#opened.set(nightId, opened);
    this.#closeOldest();
    return opened;
  }

  #isDamaged(nightId: string, nightDir: string): boolean {
    if (this.#mending.has(nightId)) return true;
    if (damageOf(nightDir) === null) return false;
    const mending = mendNight(nightDir).then((sentence) => {
      this.#mending.delete(nightId);
      this.#say(sentence);
    });
    this.#mending.set(nightId, mending);
    return true;
  }

  /** When every night that is being made again is done with. */
  async settled(): Promise<void> {
    await Promise.all(this.#mending.values());
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
