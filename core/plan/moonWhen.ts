import type { NightPlan } from "./plan.ts";

/** Distance of the plan's samples: no stretch is known better. */
const SAMPLE_MS = 600_000;

/** The Moon's rise and set within the searched day in the order in which they come. */
export function moonEvents({
  moonrise,
  moonset,
}: Pick<NightPlan, "moonrise" | "moonset">): readonly {
  readonly kind: "rises" | "sets";
  readonly at: string;
}[] {
  return [
    ...(moonrise === null ? [] : [{ kind: "rises" as const, at: moonrise }]),
    ...(moonset === null ? [] : [{ kind: "sets" as const, at: moonset }]),
  ].sort((one, other) => Date.parse(one.at) - Date.parse(other.at));
}

/**
 * When the Moon is in the frame, to follow "in the frame"; `null`: never.
 *
 * @param time  Writes a moment's time of day.
 */
export function moonInFrameText(
  { moonInFrame, watch }: Pick<NightPlan, "moonInFrame" | "watch">,
  time: (iso: string) => string,
): string | null {
  if (moonInFrame.length === 0) return null;
  const [first, last] = [moonInFrame[0]!, moonInFrame.at(-1)!];
  const isThroughout =
    moonInFrame.length === 1 &&
    watch !== null &&
    isWithinSample(watch.start, first.from) &&
    isWithinSample(last.to, watch.end);
  if (isThroughout) return "throughout the watch";
  return moonInFrame
    .map(({ from, to }) =>
      time(from) === time(to) ? `about ${time(from)}` : `from ${time(from)} to ${time(to)}`,
    )
    .join(" and ");
}

function isWithinSample(from: string, to: string): boolean {
  return Date.parse(to) - Date.parse(from) <= SAMPLE_MS;
}
