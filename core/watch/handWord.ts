import type { MonotonicMs } from "../units.ts";
import type { WatchEvent } from "./events.ts";

/**
 * What the photographer last said of a watch. It is a fact of the night, not of a phase: it holds
 * through every phase, fault and restart until the photographer says otherwise.
 */
export type HandWord =
  /** Take frames. */
  | { readonly kind: "watch" }
  /** Take none until `untilMs`; null: until told to go on. */
  | {
      readonly kind: "pause";
      readonly sinceMs: MonotonicMs;
      readonly untilMs: MonotonicMs | null;
    }
  /** The night is over. */
  | { readonly kind: "stop"; readonly sinceMs: MonotonicMs };

/** Nobody has said anything yet but that frames are wanted. */
export const WATCH_ON: HandWord = { kind: "watch" };

/**
 * The word that holds after an event. Once stopped, only a new start takes frames again; a pause
 * that is given another end keeps its beginning.
 */
export function handWordAfter(word: HandWord, event: WatchEvent): HandWord {
  if (event.kind === "started") return event.hand ?? WATCH_ON;
  if (word.kind === "stop") return word;
  if (event.kind === "stopped") return { kind: "stop", sinceMs: event.atMs };
  if (event.kind === "resumed") return WATCH_ON;
  if (event.kind !== "paused") return word;
  const sinceMs = word.kind === "pause" ? word.sinceMs : event.atMs;
  return { kind: "pause", sinceMs, untilMs: event.untilMs ?? null };
}

/**
 * The word that a new start finds. A program that ended in order said nothing of the night by it, so
 * the word before its end holds.
 *
 * @param events  What was said of one watch, oldest first; other events change nothing.
 */
export function handWordAfterBreak(events: readonly WatchEvent[]): HandWord {
  return events
    .filter((event) => event.kind !== "stopped" || event.isProgramEnding !== true)
    .reduce(handWordAfter, WATCH_ON);
}

/** The word as it stands at a moment: a pause whose end has come is over. */
export function handWordAt(word: HandWord, atMs: MonotonicMs): HandWord {
  const isOver = word.kind === "pause" && word.untilMs !== null && word.untilMs <= atMs;
  return isOver ? WATCH_ON : word;
}
