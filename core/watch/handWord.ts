import type { MonotonicMs } from "../units.ts";

/**
 * What the photographer last said of a watch. It is a fact of the night, not of a phase: it holds
 * through every phase, fault and restart until the photographer says otherwise.
 */
export type HandWord =
  /** Take frames. */
  | { readonly kind: "watch" }
  /** Take none until `untilMs`; null: until asked to go on. */
  | {
      readonly kind: "pause";
      readonly sinceMs: MonotonicMs;
      readonly untilMs: MonotonicMs | null;
    }
  /** The night is over. */
  | { readonly kind: "stop"; readonly sinceMs: MonotonicMs };

/** Nobody has said anything yet but that frames are wanted. */
export const WATCH_ON: HandWord = { kind: "watch" };

/** The word as it stands at a moment: a pause whose end has come is over. */
export function handWordAt(word: HandWord, atMs: MonotonicMs): HandWord {
  const isOver = word.kind === "pause" && word.untilMs !== null && word.untilMs <= atMs;
  return isOver ? WATCH_ON : word;
}
