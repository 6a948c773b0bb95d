import { lengthMs, panned, showing, zoomed, type Stretch } from "./stretch.ts";

/** How much of the night the strip shows: all of it, or a stretch that was zoomed into. */
export class StripView {
  readonly #wholeOf: () => Stretch;
  /** null: the whole night, however long it grows. */
  #own = $state.raw<Stretch | null>(null);

  readonly whole = $derived.by(() => this.#wholeOf());
  readonly shown = $derived(this.#own ?? this.whole);
  readonly isWhole = $derived(this.#own === null);

  constructor(wholeOf: () => Stretch) {
    this.#wholeOf = wholeOf;
  }

  /** Shows a stretch; null: the whole night. */
  show(stretch: Stretch | null): void {
    this.#own = stretch;
  }

  /** @param factor  Above 1: closer. */
  zoom(factor: number, aroundUtcMs: number): void {
    const next = zoomed(this.shown, this.whole, { factor, aroundUtcMs });
    this.#own = lengthMs(next) >= lengthMs(this.whole) ? null : next;
  }

  pan(byMs: number): void {
    if (this.#own !== null) this.#own = panned(this.#own, this.whole, byMs);
  }

  /** Moves a zoomed stretch so that a moment is in it. */
  bringIn(utcMs: number): void {
    if (this.#own !== null) this.#own = showing(this.#own, this.whole, utcMs);
  }
}
