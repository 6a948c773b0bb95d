import type { CalendarEvent } from "./iCalendar.ts";
import type { NightPlan } from "./plan.ts";

/**
 * The plan's moments as calendar events: sunset and sunrise, the darknesses, moonrise and moonset,
 * the watch from start to end with the reminder to cap the lens. What does not happen has no event.
 */
export function planEvents(plan: NightPlan): readonly CalendarEvent[] {
  const where = `${plan.latitudeDeg.toFixed(4)}_${plan.longitudeDeg.toFixed(4)}`;
  const placeName = plan.placeName ?? placeText(plan);
  const common = {
    location: placeName,
    latitudeDeg: plan.latitudeDeg,
    longitudeDeg: plan.longitudeDeg,
  };
  const id = (name: string): string => `${plan.date}-${name}-${where}@nattvakt.invalid`;
  const moment = (
    name: string,
    at: string | null,
    [title, description]: readonly [string, string],
  ): readonly CalendarEvent[] =>
    at === null ? [] : [{ uid: id(name), start: at, end: null, title, description, ...common }];
  const stretch = (
    name: string,
    [start, end]: readonly [string | null, string | null],
    [title, description]: readonly [string, string],
  ): readonly CalendarEvent[] =>
    start === null || end === null
      ? moment(name, start ?? end, [title, description])
      : [{ uid: id(name), start, end, title, description, ...common }];
  return [
    ...moment("sunset", plan.sunset, ["Sunset", plan.darknessSentence]),
    ...stretch(
      "nautical",
      [plan.nauticalDarkStart, plan.nauticalDarkEnd],
      ["Nautical darkness", "The Sun is below −12°."],
    ),
    ...stretch(
      "dark",
      [plan.darkStart, plan.darkEnd],
      ["Astronomical darkness", "The Sun is below −18°."],
    ),
    ...moment("moonrise", plan.moonrise, ["Moonrise", plan.moonSentence]),
    ...moment("moonset", plan.moonset, ["Moonset", plan.moonSentence]),
    ...watchEvents(plan, { stretch, moment }),
    ...moment("sunrise", plan.sunrise, ["Sunrise", "The lens is capped before this."]),
  ];
}

function watchEvents(
  plan: NightPlan,
  make: {
    readonly stretch: (
      name: string,
      ends: readonly [string | null, string | null],
      words: readonly [string, string],
    ) => readonly CalendarEvent[];
    readonly moment: (
      name: string,
      at: string | null,
      words: readonly [string, string],
    ) => readonly CalendarEvent[];
  },
): readonly CalendarEvent[] {
  if (plan.watch === null) return [];
  const face = `Face ${Math.round(plan.facingBearingDeg)}°, ${Math.round(plan.facingElevationDeg)}° up.`;
  const { quiet } = plan.start;
  const begin = `Begin at ${quiet.exposureSeconds} s, ISO ${quiet.iso}, f/${quiet.fNumber}.`;
  return [
    ...make.stretch(
      "watch",
      [plan.watch.start, plan.watch.end],
      ["Aurora watch", `${face} ${begin}\n${plan.auroraSentence}\n${plan.watch.sentence}`],
    ),
    ...make.moment("cap", plan.watch.end, ["End of the watch: cap the lens", plan.watch.sentence]),
  ];
}

function placeText({ latitudeDeg, longitudeDeg }: NightPlan): string {
  const north = `${Math.abs(latitudeDeg).toFixed(3)}° ${latitudeDeg < 0 ? "S" : "N"}`;
  const east = `${Math.abs(longitudeDeg).toFixed(3)}° ${longitudeDeg < 0 ? "W" : "E"}`;
  return `${north}, ${east}`;
}
