import type { NightSummary } from "../../../core/api/messages.ts";
import type { NightLight } from "../../../core/plan/nightLight.ts";
import { fetchLight } from "../api/client.ts";

/** Twilight, darkness and Moon over the night that is looked at. */
export class NightSky {
  /** null: not here yet, or the night's place is not known. */
  light = $state.raw<NightLight | null>(null);
  #key: string | null = null;

  /** Asks once for each night; again when a receiver has reported its place, or the link was down. */
  async open(night: NightSummary): Promise<void> {
    const key = `${night.nightId} ${night.placeName}`;
    if (key === this.#key) return;
    this.#key = key;
    try {
      const light = await fetchLight(night.nightId);
      if (key === this.#key) this.light = light;
    } catch {
      // The strip does without; the next message of the daemon asks again.
      if (key === this.#key) this.#key = null;
    }
  }
}
