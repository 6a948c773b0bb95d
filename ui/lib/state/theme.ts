import type { DaemonView } from "../../../core/api/messages.ts";
import type { Part } from "./part.ts";
import type { ThemeChoice } from "./preferences.svelte.ts";

type Theme = "night" | "day";

/** What the page looks at where the photographer has left the choice to it. */
export type Surroundings = {
  readonly part: Part;
  /** null: the program has not been heard yet. */
  readonly outside: DaemonView["outside"] | null;
  readonly isWatchRunning: boolean;
  /** By this computer's own clock, 0..23. */
  readonly localHour: number;
  /** The whole system is set to dark colours. */
  readonly prefersDark: boolean;
};

/**
 * Where nobody knows how the Sun stands, these hours count as day. Judgement: a white page by night costs dark-adapted eyes
 * half an hour, a dark one by day costs nothing but a glance at the menu.
 */
const DAY_HOURS = { from: 8, until: 16 } as const;

/**
 * By itself: night in the night's own part, while a watch runs, and wherever it is dark outside. A
 * watch that is over ends no night: who comes back at three in the morning still has the dark to see in.
 */
export function themeOf(choice: ThemeChoice, around: Surroundings): Theme {
  if (choice !== "auto") return choice;
  const { part, outside, isWatchRunning } = around;
  if (part === "watch" || isWatchRunning || outside === null) return "night";
  switch (outside) {
    case "dark":
      return "night";
    case "light":
      return "day";
    case "unknown":
      return isDayByTheClock(around) ? "day" : "night";
  }
}

function isDayByTheClock({ localHour, prefersDark }: Surroundings): boolean {
  return !prefersDark && localHour >= DAY_HOURS.from && localHour < DAY_HOURS.until;
}
