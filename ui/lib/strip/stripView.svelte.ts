import type { KeyAction } from "../keys/keys.ts";
import { lengthMs, panned, showing, zoomed, type Stretch } from "./stretch.ts";

const ZOOM_STEP = 2;

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

  /**
   * @param factor  Above 1: closer.
   * @param aroundUtcMs  Keeps its place; null: the middle does.
   */
  zoom(factor: number, aroundUtcMs: number | null): void {
    const { startUtcMs, endUtcMs } = this.shown;
    const middleUtcMs = (startUtcMs + endUtcMs) / 2;
    const around = { factor, aroundUtcMs: aroundUtcMs ?? middleUtcMs };
    const next = zoomed(this.shown, this.whole, around);
    this.#own = lengthMs(next) >= lengthMs(this.whole) ? null : next;
  }

  pan(byMs: number): void {
    if (this.#own !== null) this.#own = panned(this.#own, this.whole, byMs);
  }

  /** Moves a zoomed stretch so that a moment is in it. */
  bringIn(utcMs: number): void {
    if (this.#own !== null) this.#own = showing(this.#own, this.whole, utcMs);
  }

  closer(aroundUtcMs: number | null): void {
    this.zoom(ZOOM_STEP, aroundUtcMs);
  }

  wider(aroundUtcMs: number | null): void {
    this.zoom(1 / ZOOM_STEP, aroundUtcMs);
  }

  /** A key's action, around a moment; true when it was one of the strip's. */
  act(action: KeyAction, aroundUtcMs: number | null): boolean {
    switch (action) {
      case "closer":
        this.closer(aroundUtcMs);
        return true;
      case "wider":
        this.wider(aroundUtcMs);
        return true;
      case "wholeNight":
        this.show(null);
        return true;
      default:
        return false;
    }
  }
}
