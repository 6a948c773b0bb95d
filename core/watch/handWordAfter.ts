import type { WatchEvent } from "./events.ts";
import { type HandWord, WATCH_ON } from "./handWord.ts";

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
