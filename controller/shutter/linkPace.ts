/** A short memory of how long transactions take, to plan what surely fits before a deadline. */
export class LinkPace {
  readonly #roundTripsMs: number[] = [];
  readonly #bytesPerMs: number[] = [];

  /** Notes a transaction without a payload worth mentioning. */
  noteRoundTrip(durationMs: number): void {
    remember(this.#roundTripsMs, durationMs);
  }

  /** Notes a piece of a file. */
  notePiece(piece: { readonly bytes: number; readonly durationMs: number }): void {
    if (piece.bytes < SMALL_PIECE_BYTES) return this.noteRoundTrip(piece.durationMs);
    remember(this.#bytesPerMs, piece.bytes / Math.max(piece.durationMs, 0.01));
  }

  /** What an empty transaction usually takes, there and back; 0 while nothing was measured. */
  get roundTripMs(): number {
    const sorted = [...this.#roundTripsMs].sort((a, b) => a - b);
    return sorted[Math.floor(sorted.length / 2)] ?? 0;
  }

  /** What an empty transaction takes at worst, as far as can be told. */
  get roundTripMsMax(): number {
    return Math.max(ROUND_TRIP_FLOOR_MS, 2 * Math.max(0, ...this.#roundTripsMs));
  }

  /** Time within which so many bytes are surely here. */
  msFor(bytes: number): number {
    return this.roundTripMsMax + bytes / this.#trustedBytesPerMs;
  }

  /**
   * Bytes that can be asked for so that they are surely here within the time, at least a small
   * piece: whoever asks has made sure of the time for that.
   */
  bytesWithin(budgetMs: number): number {
    const bytes = Math.floor((budgetMs - this.roundTripMsMax) * this.#trustedBytesPerMs);
    return Math.min(Math.max(bytes, SMALL_PIECE_BYTES), PIECE_BYTES_MAX);
  }

  /** The slowest of the latest pieces decides, and half of that is trusted. */
  get #trustedBytesPerMs(): number {
    if (this.#bytesPerMs.length === 0) return UNMEASURED_BYTES_PER_MS;
    return Math.min(...this.#bytesPerMs) * TRUSTED_SHARE;
  }
}

/** First and smallest piece; a radio link of 1 MB/s brings it in 16 ms. */
export const SMALL_PIECE_BYTES = 16 * 1024;
/** Above this a larger piece gains nothing on any link. */
const PIECE_BYTES_MAX = 4 * 1024 * 1024;
/** Before anything was measured: a slow radio link. */
const UNMEASURED_BYTES_PER_MS = 500;
const TRUSTED_SHARE = 0.5;
const ROUND_TRIP_FLOOR_MS = 3;
const REMEMBERED = 15;

function remember(values: number[], value: number): void {
  values.push(value);
  if (values.length > REMEMBERED) values.shift();
}
