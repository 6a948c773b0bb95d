import type { StripView } from "./stripView.svelte.ts";
import { lengthMs } from "./stretch.ts";

/** A finger that moves less than this has tapped. */
const TAP_PX = 8;

/** One notch of a wheel, 100 px, brings the night a third closer. */
const WHEEL_STOPS_PER_PX = 0.004;
/** A pinch on a touchpad comes as a wheel with small steps. */
const PINCH_STOPS_PER_PX = 0.02;
/** Browsers that count a wheel in lines mean about this much by one. */
const LINE_PX = 16;

/** A page that scrolled so lately goes on scrolling, whatever comes under the pointer. */
const SCROLLING_MS = 250;

type StripGestureOptions = {
  readonly view: StripView;
  /** The moment at a place on the screen. */
  readonly utcAt: (clientX: number) => number;
  /** Width of the shown stretch on the screen. */
  readonly widthPx: () => number;
  readonly onpick: (utcMs: number) => void;
  /** The moment under a mouse that points without pressing; null: none. */
  readonly onpeek: (utcMs: number | null) => void;
};

/**
 * What fingers, mouse and wheel do to the strip: a drag pans, two fingers and the wheel zoom around
 * where they are, a tap picks. A scroll up or down is the page's: the browser takes it over and says
 * so by `cancel`, and nothing is picked.
 */
export class StripGestures {
  readonly #options: StripGestureOptions;
  /** Where each finger was last. */
  readonly #fingers = new Map<number, number>();
  #downX = 0;
  #isTap = false;
  #scrolledAtMs = -Infinity;

  constructor(options: StripGestureOptions) {
    this.#options = options;
  }

  down(event: PointerEvent): void {
    if (event.button !== 0) return;
    this.#fingers.set(event.pointerId, event.clientX);
    this.#isTap = this.#fingers.size === 1;
    this.#downX = event.clientX;
    this.#options.onpeek(null);
  }

  move(event: PointerEvent): void {
    const { utcAt, onpeek } = this.#options;
    const before = this.#fingers.get(event.pointerId);
    if (before === undefined) {
      if (event.pointerType === "mouse") onpeek(utcAt(event.clientX));
      return;
    }
    if (this.#isTap && Math.abs(event.clientX - this.#downX) < TAP_PX) return;
    this.#isTap = false;
    this.#fingers.set(event.pointerId, event.clientX);
    const other = [...this.#fingers].find(([id]) => id !== event.pointerId)?.[1];
    if (other === undefined) this.#pan(before - event.clientX);
    else this.#pinch({ before, now: event.clientX, other });
  }

  up(event: PointerEvent): void {
    const isTap = this.#isTap && this.#fingers.has(event.pointerId);
    this.#fingers.delete(event.pointerId);
    this.#isTap = false;
    if (isTap) this.#options.onpick(this.#options.utcAt(event.clientX));
  }

  /** The browser scrolls, or took the pointer away. */
  cancel(event: PointerEvent): void {
    this.#fingers.delete(event.pointerId);
    this.#isTap = false;
  }

  /** Tells that the page scrolled. */
  scrolled(atMs: number): void {
    this.#scrolledAtMs = atMs;
  }

  wheel(event: WheelEvent): void {
    const { view, utcAt } = this.#options;
    const unitPx = event.deltaMode === WheelEvent.DOM_DELTA_LINE ? LINE_PX : 1;
    if (Math.abs(event.deltaX) > Math.abs(event.deltaY)) {
      if (view.isWhole) return;
      event.preventDefault();
      this.#pan(event.deltaX * unitPx);
      return;
    }
    const isPageScroll = event.timeStamp - this.#scrolledAtMs < SCROLLING_MS && !event.ctrlKey;
    const stops =
      -event.deltaY * unitPx * (event.ctrlKey ? PINCH_STOPS_PER_PX : WHEEL_STOPS_PER_PX);
    // Wider than the whole night there is nothing: the page may scroll on.
    if (isPageScroll || (stops < 0 && view.isWhole)) return;
    event.preventDefault();
    view.zoom(2 ** stops, utcAt(event.clientX));
  }

  #pan(byPx: number): void {
    const { view, widthPx } = this.#options;
    view.pan((byPx / Math.max(1, widthPx())) * lengthMs(view.shown));
  }

  /** The moments under both fingers stay under them. */
  #pinch({ before, now, other }: { before: number; now: number; other: number }): void {
    const { view, utcAt } = this.#options;
    const [apartPx, apartBeforePx] = [Math.abs(now - other), Math.abs(before - other)];
    if (apartPx < TAP_PX || apartBeforePx < TAP_PX) return;
    view.zoom(apartPx / apartBeforePx, utcAt(other));
  }
}
