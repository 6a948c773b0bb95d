import * as v from "valibot";
import { isoOf } from "../../core/sky/calendarDate.ts";
import type { UtcMs } from "../../core/units.ts";
import { alarmWords } from "../../core/words/alarmWords.ts";
import type { Route } from "./route.ts";

/** Makes the person's own calls once, to hear whether they wake. */
export type AlarmTrial = {
  tryOut(at: string, sentence: string): { readonly command: boolean; readonly webhook: boolean };
};

/** The ways are named on the command line alone; a page can only try them. */
export function alarmRoutes(alarms: AlarmTrial, nowUtcMs: () => UtcMs): readonly Route[] {
  return [
    {
      method: "post",
      path: "/api/alarms/try",
      summary: "Makes the alarm's own calls once; says which of command and webhook were named.",
      part: "Watch",
      answer: {
        kind: "json",
        name: "AlarmTrial",
        schema: v.object({ command: v.boolean(), webhook: v.boolean() }),
      },
      handle: () => alarms.tryOut(isoOf(nowUtcMs()), alarmWords.trial),
    },
  ];
}
