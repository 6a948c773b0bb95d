import type { Exposure } from "../../core/exposure/exposure.ts";
import type { CardEntry } from "../../core/frames/reconcile.ts";

/** A picture on the card, with what only the simulation knows: the frame that took it; null: a hand. */
export type CardPicture = CardEntry & {
  readonly ofFrame: number | null;
  readonly exposure: Exposure;
};

/** A camera as the watch's effects meet it: a shutter, a card, a link that may be out. */
export class SimulatedBody {
  readonly card: CardPicture[] = [];
  readonly #startUtcMs: number;
  #open: {
    readonly frameIndex: number;
    readonly openedMs: number;
    readonly exposure: Exposure;
  } | null = null;

  constructor(startUtcMs: number) {
    this.#startUtcMs = startUtcMs;
  }

  get open(): { readonly frameIndex: number; readonly openedMs: number } | null {
    return this.#open;
  }

  openShutter(frameIndex: number, exposure: Exposure, atMs: number): void {
    this.#open = { frameIndex, openedMs: atMs, exposure };
  }

  /** @returns what happened; null: the shutter was closed. */
  closeShutter(atMs: number): { readonly frameIndex: number; readonly happened: Exposure } | null {
    if (this.#open === null) return null;
    const { frameIndex, openedMs, exposure } = this.#open;
    this.#open = null;
    const happened = { ...exposure, exposureSeconds: Math.max(0.001, (atMs - openedMs) / 1000) };
    this.#add(openedMs, frameIndex, happened);
    return { frameIndex, happened };
  }

  takeByHand(atMs: number): void {
    // Nobody's own settings happen to be the night's: a hand presses the release by day's habit.
    this.#add(atMs, null, { exposureSeconds: 1 / 60, iso: 100, fNumber: 8 });
  }

  #add(openedMs: number, ofFrame: number | null, exposure: Exposure): void {
    const number = this.card.length + 1;
    this.card.push({
      cameraHandle: number,
      cameraName: `IMG_${String(number).padStart(4, "0")}.JPG`,
      bytes: 5_000_000 + number,
      captureDate: ptpDate(this.#startUtcMs + openedMs),
      ofFrame,
      exposure,
    });
  }
}

function ptpDate(utcMs: number): string {
  return new Date(utcMs).toISOString().slice(0, 19).replace(/[-:]/g, "");
}
