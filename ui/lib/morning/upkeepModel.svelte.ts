import type {
  UpkeepJob,
  UpkeepOrder,
  PruneOutlook,
  PruneRuleName,
} from "../../../core/api/upkeepMessages.ts";
import * as api from "../api/upkeepClient.ts";

/** Copying, checking and pruning of one night's files, as the page has it. */
export class UpkeepModel {
  readonly #nightId: string;
  readonly #sentenceOf: (thrown: unknown) => string;
  jobs = $state.raw<readonly UpkeepJob[]>([]);
  /** What pruning would delete; null: not asked. */
  outlook = $state.raw<PruneOutlook | null>(null);
  refusal = $state<string | null>(null);
  /** What the photographer has opened stays open; work that goes on is never hidden. */
  isOpen = $state(false);
  readonly isRunning = $derived(this.jobs.some(({ state }) => state === "running"));

  constructor(nightId: string, sentenceOf: (thrown: unknown) => string) {
    this.#nightId = nightId;
    this.#sentenceOf = sentenceOf;
  }

  start(order: UpkeepOrder): Promise<void> {
    this.outlook = null;
    return this.#attempt(() => api.startUpkeep(this.#nightId, order));
  }

  cancel(jobId: string): Promise<void> {
    return this.#attempt(() => api.cancelUpkeep(jobId));
  }

  async look(rule: PruneRuleName | null): Promise<void> {
    this.outlook = null;
    if (rule === null) return;
    await this.#attempt(async () => {
      this.outlook = await api.fetchPruneOutlook(this.#nightId, rule);
    });
  }

  /** @returns True when pruning has just ended: the night's frames are to be looked at again. */
  async refresh(): Promise<boolean> {
    const wasRunning = this.isRunning;
    await this.#attempt(() => Promise.resolve());
    return wasRunning && !this.isRunning && this.jobs.at(-1)?.order.kind === "prune";
  }

  async #attempt(work: () => Promise<unknown>): Promise<void> {
    this.refusal = null;
    try {
      await work();
      this.jobs = await api.fetchUpkeepJobs(this.#nightId);
      if (this.isRunning) this.isOpen = true;
    } catch (thrown) {
      this.refusal = this.#sentenceOf(thrown);
    }
  }
}
