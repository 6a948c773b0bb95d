/** Answers by which the usual time is judged. */
const ANSWERS_KEPT = 9;

/**
 * Learns how long a camera usually takes to answer an opening.
 *
 * An answer that took longer was held up on the way there, before the shutter opened, or on the way
 * back, after it did, and nobody can tell which. Taking half of the excess off its time halves the
 * worst error of an exposure that is counted from it.
 */
export class AnswerPace {
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
    const usualMs = median(this.#tookMs) ?? tookMs;
    this.#tookMs = [...this.#tookMs, tookMs].slice(-ANSWERS_KEPT);
    return Math.max(0, tookMs - usualMs) / 2;
  }
}

function median(values: readonly number[]): number | undefined {
  return [...values].sort((one, other) => one - other)[Math.floor(values.length / 2)];
}
