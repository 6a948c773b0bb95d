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

  /**
   * Bytes that can be asked for so that they are surely here within the time; 0: not even a small
   * piece. The slowest of the latest pieces decides, and half of that is trusted.
   */
  bytesWithin(budgetMs: number): number {
    const leftMs = budgetMs - this.roundTripMsMax;
    if (leftMs <= 0) return 0;
    if (this.#bytesPerMs.length === 0) return SMALL_PIECE_BYTES;
    const bytes = Math.floor(leftMs * Math.min(...this.#bytesPerMs) * TRUSTED_SHARE);
    return bytes < SMALL_PIECE_BYTES ? 0 : Math.min(bytes, PIECE_BYTES_MAX);
  }
}

/** First and smallest piece; a radio link of 1 MB/s brings it in 16 ms. */
const SMALL_PIECE_BYTES = 16 * 1024;
/** Above this a larger piece gains nothing on any link. */
const PIECE_BYTES_MAX = 4 * 1024 * 1024;
const TRUSTED_SHARE = 0.5;
const ROUND_TRIP_FLOOR_MS = 3;
const REMEMBERED = 15;

function remember(values: number[], value: number): void {
  values.push(value);
  if (values.length > REMEMBERED) values.shift();
}
