import type { WatchEvent } from "../../core/watch/events.ts";

/** Far more than a frame causes: 50 s of a light meter that samples ten times a second. Judgement. */
const WAITING_COUNT_MAX = 500;

/** Of these only the newest counts: no decision depends on an older one. */
const STATUSES: ReadonlySet<WatchEvent["kind"]> = new Set([
  "lightSampled",
  "climateRead",
  "clockCompared",
  "statusRead",
] as const);

/**
 * What has happened and is not yet decided on, in order. Bounded by count: the oldest status is
 * left out first, and pictures, shutter, hand and faults never are.
 */
export class WatchEvents {
  #waiting: WatchEvent[] = [];
  #leftOut = new Map<WatchEvent["kind"], number>();

  put(event: WatchEvent): void {
    this.#waiting.push(event);
    if (this.#waiting.length <= WAITING_COUNT_MAX) return;
    const oldest = this.#waiting.findIndex(({ kind }) => STATUSES.has(kind));
    // None waits: what is left are facts of frames, of which a camera has but a few in hand.
    if (oldest < 0) return;
    const [{ kind }] = this.#waiting.splice(oldest, 1) as [WatchEvent];
    this.#leftOut.set(kind, (this.#leftOut.get(kind) ?? 0) + 1);
  }

  next(): WatchEvent | undefined {
    return this.#waiting.shift();
  }

  get count(): number {
    return this.#waiting.length;
  }

  /** How many of each kind were left out since it was last asked. */
  takeLeftOut(): Readonly<Record<string, number>> {
    const leftOut = Object.fromEntries(this.#leftOut);
    this.#leftOut = new Map();
    return leftOut;
  }
}
