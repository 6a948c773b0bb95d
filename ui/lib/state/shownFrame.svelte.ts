import type { KeyAction } from "../keys/keys.ts";
import { positionOf } from "../strip/nearest.ts";
import type { TracePoint } from "./tracePoint.ts";

type ShownFrameOptions = {
  /** The night's frames, by rising index. */
  readonly points: () => readonly TracePoint[];
  /** null: none was chosen, the newest is followed. */
  readonly chosenIndex: () => number | null;
  readonly choose: (frameIndex: number) => void;
};

/**
 * Which of a night's frames is looked at: the one under the pointer, else the chosen one, else the
 * newest that has a picture.
 */
export class ShownFrame {
  readonly #options: ShownFrameOptions;
  /** Under the pointer; it goes before what was chosen. */
  peekIndex = $state<number | null>(null);

  readonly #points = $derived.by(() => this.#options.points());
  readonly #chosenIndex = $derived.by(() => this.#options.chosenIndex());
  /** A frame whose shutter is open has no picture yet, and one that was pruned has none any more. */
  readonly newest = $derived(
    this.#points.findLast(({ hasFile }) => hasFile) ?? this.#points.at(-1) ?? null,
  );
  /** The chosen one, or the newest: what the pointer does is left out. */
  readonly restingIndex = $derived(this.#chosenIndex ?? this.newest?.frameIndex ?? null);
  readonly index = $derived(this.peekIndex ?? this.restingIndex);
  readonly isFollowing = $derived(this.#chosenIndex === null && this.peekIndex === null);
  /** null: there is no frame, or the strip has no place for the one that was chosen. */
  readonly point = $derived(
    this.index === null ? null : (this.#points[positionOf(this.#points, this.index)] ?? null),
  );

  constructor(options: ShownFrameOptions) {
    this.#options = options;
  }

  select(frameIndex: number): void {
    this.#options.choose(frameIndex);
    this.peekIndex = null;
  }

  /** So many frames on; below 0: back. Stops at either end. */
  step(by: number): void {
    const at = this.index === null ? -1 : positionOf(this.#points, this.index);
    const to = this.#points[Math.min(this.#points.length - 1, Math.max(0, at + by))];
    if (to) this.select(to.frameIndex);
  }

  /** A key's action; true when it was one that steps through the night. */
  act(action: KeyAction): boolean {
    const steps: Partial<Record<KeyAction, number>> = {
      previousFrame: -1,
      nextFrame: 1,
      tenBack: -10,
      tenOn: 10,
      firstFrame: -this.#points.length,
      newestFrame: this.#points.length,
    };
    const by = steps[action];
    if (by !== undefined) this.step(by);
    return by !== undefined;
  }
}
