import type { NightTimeline } from "../../../core/api/messages.ts";
import { stops } from "../format/figures.ts";
import { stretch } from "../format/time.ts";
import { words } from "../../../core/words/words.ts";

/** A surge, a gap or a guard, as the strip marks it and the list beside it tells it. */
export type NightMark = {
  readonly key: string;
  readonly kind: "surge" | "gap" | "guard";
  readonly startUtcMs: number;
  /** null: still going on, or a single moment. */
  readonly endUtcMs: number | null;
  readonly isOpen: boolean;
  /** What the strip writes beside the mark. */
  readonly name: string;
  readonly title: string;
  readonly sentence: string;
};

/** Everything of a night that is worth a mark, oldest first. */
export function marksOf(timeline: NightTimeline): readonly NightMark[] {
  const surges = timeline.surges.map((surge): NightMark => ({
    key: `surge-${surge.startUtcMs}`,
    kind: "surge",
    ...spanOf(surge),
    name: words.marks.surge,
    title: `${words.marks.surge}:`,
    sentence: `${words.marks.rise(stops(surge.riseStops))}, ${lasting(surge)}`,
  }));
  const gaps = timeline.gaps.map((gap): NightMark => ({
    key: `gap-${gap.startUtcMs}`,
    kind: "gap",
    ...spanOf(gap),
    name: words.marks.gap,
    title: `${words.marks.gap}:`,
    sentence: `${lasting(gap)}, ${gap.why}`,
  }));
  const guards = timeline.guards.map((guard): NightMark => ({
    key: `guard-${guard.guard}-${guard.sinceUtcMs}`,
    kind: "guard",
    startUtcMs: guard.sinceUtcMs,
    endUtcMs: null,
    isOpen: false,
    name: words.marks.guards[guard.guard],
    title: `${words.marks.guards[guard.guard]}, ${words.marks.levels[guard.level].toLowerCase()}:`,
    sentence: guard.sentence,
  }));
  return [...surges, ...gaps, ...guards].sort((one, other) => one.startUtcMs - other.startUtcMs);
}

type Span = { readonly startUtcMs: number; readonly endUtcMs: number | null };

function spanOf({ startUtcMs, endUtcMs }: Span): Span & { isOpen: boolean } {
  return { startUtcMs, endUtcMs, isOpen: endUtcMs === null };
}

function lasting({ startUtcMs, endUtcMs }: Span): string {
  if (endUtcMs === null) return words.marks.goesOn;
  return words.marks.lasting(stretch(endUtcMs - startUtcMs));
}
