import type { WatchView } from "../../core/api/messages.ts";
import type { GuardNotice } from "../../core/watch/guardNotice.ts";
import { asNightError } from "../../core/errors.ts";
import type { Catalogue } from "../archive/catalogue.ts";
import { guardsKey } from "../archive/stateKeys.ts";
import type { Log } from "../log.ts";

/** Every guard that spoke, with its latest words, for the report in the morning. */
export class GuardNotes {
  readonly #catalogue: Catalogue | null;
  readonly #log: Log;
  /** By camera, then by guard and beginning. */
  readonly #notices = new Map<string, Map<string, GuardNotice>>();

  constructor(catalogue: Catalogue | null, log: Log) {
    this.#catalogue = catalogue;
    this.#log = log;
  }

  note({ cameraId, guards }: WatchView): void {
    const notices = this.#notices.get(cameraId) ?? this.#earlier(cameraId);
    this.#notices.set(cameraId, notices);
    const news = guards.filter(
      (notice) => notices.get(keyOf(notice))?.sentence !== notice.sentence,
    );
    if (news.length === 0) return;
    for (const notice of news) notices.set(keyOf(notice), notice);
    try {
      this.#catalogue?.setState(guardsKey(cameraId), [...notices.values()]);
    } catch (thrown) {
      this.#log.warn("guards.not_kept", { sentence: asNightError(thrown).message });
    }
  }

  /** What was noted before a break. */
  #earlier(cameraId: string): Map<string, GuardNotice> {
    const kept = this.#catalogue?.getState<readonly GuardNotice[]>(guardsKey(cameraId)) ?? [];
    return new Map(kept.map((notice) => [keyOf(notice), notice]));
  }
}

function keyOf({ guard, sinceUtcMs }: GuardNotice): string {
  return `${guard} ${sinceUtcMs}`;
}
