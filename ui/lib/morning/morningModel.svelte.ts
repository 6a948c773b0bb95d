import type { MorningView } from "../../../core/api/deliverMessages.ts";
import type { FoundFrames } from "../../../core/api/upkeepMessages.ts";
import type { SetEdits } from "../../../core/frames/frameSets.ts";
import * as upkeepApi from "../api/upkeepClient.ts";
import * as api from "../api/morningClient.ts";
import { FIRST_DRAFT, type DeliverDraft } from "./deliverDraft.ts";
import { searchOf, type SearchDraft } from "./searchDraft.ts";

type FrameName = { readonly cameraId: string; readonly frameIndex: number };

/** One night's frame sets, keepers, picks, searches and deliveries, as the page has them. */
export class MorningModel {
  readonly nightId: string;
  readonly #sentenceOf: (thrown: unknown) => string;
  /** null: not here yet. */
  view = $state.raw<MorningView | null>(null);
  /** Why the night cannot be shown. */
  refusal = $state<string | null>(null);
  draft = $state.raw<DeliverDraft>(FIRST_DRAFT);
  /** Sets that are left out of the delivery; all are in it at first. */
  leftOut = $state.raw<readonly string[]>([]);
  deliverRefusal = $state<string | null>(null);
  found = $state.raw<FoundFrames | null>(null);
  findRefusal = $state<string | null>(null);
  readonly chosenIds = $derived(
    this.view?.sets.map(({ setId }) => setId).filter((id) => !this.leftOut.includes(id)) ?? [],
  );
  readonly isDelivering = $derived(
    this.view?.jobs.some(({ state }) => state === "running") ?? false,
  );

  constructor(nightId: string, sentenceOf: (thrown: unknown) => string) {
    this.nightId = nightId;
    this.#sentenceOf = sentenceOf;
  }

  async load(): Promise<void> {
    try {
      this.view = await api.fetchMorning(this.nightId);
    } catch (thrown) {
      this.refusal = this.#sentenceOf(thrown);
    }
  }

  chooseSet(setId: string, isChosen: boolean): void {
    const others = this.leftOut.filter((id) => id !== setId);
    this.leftOut = isChosen ? others : [...others, setId];
  }

  deliver(): Promise<void> {
    this.deliverRefusal = null;
    const setIds = this.leftOut.length === 0 ? [] : this.chosenIds;
    return this.#attempt(async () => {
      const job = await api.startDelivery(this.nightId, { ...this.draft, setIds });
      if (this.view) this.view = { ...this.view, jobs: [...this.view.jobs, job] };
    });
  }

  cancel(jobId: string): Promise<void> {
    return this.#attempt(() => api.cancelDelivery(jobId));
  }

  resume(jobId: string): Promise<void> {
    return this.#attempt(async () => {
      await api.resumeDelivery(jobId);
      await this.#lookAtJobs();
    });
  }

  /** Asks how deliveries stand, while one is running. */
  poll(): Promise<void> {
    return this.isDelivering ? this.#attempt(() => this.#lookAtJobs()) : Promise.resolve();
  }

  edit(edits: SetEdits): Promise<void> {
    return this.#attempt(async () => (this.view = await api.setEdits(this.nightId, edits)));
  }

  pick(frame: FrameName, word: "keep" | "leave" | null): Promise<void> {
    return this.#attempt(async () => (this.view = await api.setPick(this.nightId, frame, word)));
  }

  async find(
    draft: SearchDraft,
    within: { nightStartUtcMs: number; cameraId: string | null },
  ): Promise<void> {
    const asked = searchOf(draft, within);
    this.findRefusal = asked.kind === "unclear" ? asked.sentence : null;
    if (asked.kind === "unclear") return;
    try {
      this.found = await upkeepApi.findFrames(this.nightId, asked.search);
    } catch (thrown) {
      this.findRefusal = this.#sentenceOf(thrown);
    }
  }

  async #lookAtJobs(): Promise<void> {
    if (this.view === null) return;
    this.view = { ...this.view, jobs: await api.fetchJobs(this.nightId) };
    // A delivery measures the frames, so the keepers are better known after it.
    if (!this.isDelivering) this.view = await api.fetchMorning(this.nightId);
  }

  async #attempt(work: () => Promise<unknown>): Promise<void> {
    try {
      await work();
    } catch (thrown) {
      this.deliverRefusal = this.#sentenceOf(thrown);
    }
  }
}
