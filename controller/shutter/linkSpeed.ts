import { middleOf } from "../../core/statistics.ts";

/** A short memory of how long transactions take, to plan what surely fits before a deadline. */
export class LinkSpeed {
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
    return middleOf(this.#roundTripsMs) ?? 0;
  }

  /** What an empty transaction takes at worst, as far as can be known. */
  get roundTripMsMax(): number {
    return Math.max(ROUND_TRIP_FLOOR_MS, 2 * Math.max(0, ...this.#roundTripsMs));
  }

  /** Time within which so many bytes are surely here. */
  msFor(bytes: number): number {
    return this.roundTripMsMax + bytes / this.#trustedBytesPerMs;
  }

  /**
   * Bytes that can be asked for so that they are surely here within the time, at least a small
   * piece: the caller has made sure of the time for that.
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

/** Answers by which the usual time is judged. */
const ANSWERS_KEPT = 9;

/**
 * Learns how long a camera usually takes to answer an opening.
 *
 * An answer that took longer was held up on the way there, before the shutter opened, or on the way
 * back, after it did, and nobody can tell which. Taking half of the excess off its time halves the
 * worst error of an exposure that is counted from it.
 */
export class AnswerDelay {
  #tookMs: readonly number[] = [];

  /** @returns what to take off the moment of this answer, real milliseconds. */
  noteAnswer({
    sentMs,
    answeredMs,
  }: {
    readonly sentMs: number;
    readonly answeredMs: number;
  }): number {
    const tookMs = answeredMs - sentMs;
    const usualMs = middleOf(this.#tookMs) ?? tookMs;
    this.#tookMs = [...this.#tookMs, tookMs].slice(-ANSWERS_KEPT);
    return Math.max(0, tookMs - usualMs) / 2;
  }
}

/** Share of the known time after which a camera is tried again: it may have become faster. */
const TRY_EARLIER = 0.97;
/** The same when it was ready at the first attempt, so that the true time is found soon. */
const TRY_MUCH_EARLIER = 0.5;

/**
 * Learns how long a camera reads out after the shutter has closed. The standard has no event for
 * "ready": an attempt to open is refused until then, and the file may be named before or after.
 */
export class ReadoutTime {
  #readoutMs: number | null = null;
  #closedMs: number | null = null;
  #wasBusy = false;

  /** Real milliseconds after closing at which the next opening is worth trying; null: unknown. */
  get readyAfterMs(): number | null {
    return this.#readoutMs;
  }

  noteClosed(atMs: number): void {
    this.#closedMs = atMs;
    this.#wasBusy = false;
  }

  /** An opening was refused because the camera was busy. */
  noteBusy(): void {
    this.#wasBusy = true;
  }

  /** An opening was accepted, at this real time. */
  noteOpened(atMs: number): void {
    if (this.#closedMs === null) return;
    const tookMs = atMs - this.#closedMs;
    this.#closedMs = null;
    if (this.#wasBusy) this.#readoutMs = tookMs * TRY_EARLIER;
    else if (this.#readoutMs === null || tookMs < this.#readoutMs * LATE_BUT_PROMPT) {
      this.#readoutMs = Math.min(this.#readoutMs ?? tookMs, tookMs) * TRY_MUCH_EARLIER;
    }
  }
}

/** An opening later than this was late for other reasons and says nothing of the camera. */
const LATE_BUT_PROMPT = 1.25;
