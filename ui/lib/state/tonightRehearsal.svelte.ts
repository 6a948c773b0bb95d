import type { PlanQuery, TonightView } from "../../../core/api/planMessages.ts";
import type { TonightWeather } from "../../../core/rehearsal/tonightSky.ts";
import * as api from "../api/planClient.ts";
import { sentenceOf } from "../api/sentence.ts";

/** The rehearsal of tonight: the weather that is chosen, and how it stands. */
export class TonightRehearsal {
  weather = $state.raw<TonightWeather>({ activity: "moderate", cloudiness: "changing" });
  view = $state.raw<TonightView>({ kind: "none" });
  refusal = $state<string | null>(null);

  choose(change: Partial<TonightWeather>): void {
    this.weather = { ...this.weather, ...change };
  }

  async start(query: PlanQuery): Promise<void> {
    await this.#ask(() => api.startTonight({ ...query, ...this.weather }));
  }

  async look(): Promise<void> {
    await this.#ask(api.fetchTonight);
  }

  lookIfRunning(): void {
    if (this.view.kind === "running") void this.look();
  }

  async #ask(work: () => Promise<TonightView>): Promise<void> {
    this.refusal = null;
    try {
      this.view = await work();
    } catch (thrown) {
      this.refusal = sentenceOf(thrown);
    }
  }
}
