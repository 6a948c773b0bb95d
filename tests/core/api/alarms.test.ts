import { describe, expect, it } from "vitest";
import { alarmsDue, NO_ALARMS, type AlarmMemory } from "../../../core/api/alarms.ts";
import type { StateNotice, WatchView } from "../../../core/api/messages.ts";
import { utcMs } from "../../../core/units.ts";
import { STATE_LOOKS, type StateKind } from "../../../core/words/stateWords.ts";

const START = Date.UTC(2026, 10, 30, 22);

/** The minutes at which it rings, of one camera whose states change from minute to minute. */
function ringsOf(statesAt: (minute: number) => readonly StateKind[], minutes: number): string[] {
  let memory: AlarmMemory = NO_ALARMS;
  const rings: string[] = [];
  for (let minute = 0; minute < minutes; minute += 1) {
    const nowUtcMs = utcMs(START + minute * 60_000);
    const states = statesAt(minute).map((kind): StateNotice => ({
      ...{ kind, sentence: kind, sinceUtcMs: null },
      ...STATE_LOOKS[kind],
    }));
    const watch = { cameraId: "camera-1", cameraLabel: "A camera", states } as unknown as WatchView;
    const due = alarmsDue({ watches: [watch], nowUtcMs }, memory);
    memory = due.memory;
    for (const { kind, state } of due.alarms) rings.push(`${minute} ${kind} ${state}`);
  }
  return rings;
}

describe("alarms", () => {
  it("ring at once for a loose shutter and after two minutes for a camera that is gone", () => {
    expect(ringsOf(() => ["shutterLoose", "cameraGone"], 4)).toEqual([
      "0 trouble shutterLoose",
      "2 trouble cameraGone",
    ]);
  });

  it("ring again every ten minutes while the trouble lasts", () => {
    expect(ringsOf(() => ["shutterLoose"], 25)).toEqual([
      "0 trouble shutterLoose",
      "10 trouble shutterLoose",
      "20 trouble shutterLoose",
    ]);
  });

  it("ring once for a state that comes and goes, and again for a new one", () => {
    const isLoose = (minute: number): boolean => minute % 2 === 0 && minute < 8;
    expect(ringsOf((minute) => (isLoose(minute) ? ["shutterLoose"] : ["well"]), 9)).toHaveLength(1);
    const again = (minute: number): boolean => minute === 0 || minute === 5;
    expect(ringsOf((minute) => (again(minute) ? ["shutterLoose"] : ["well"]), 9)).toHaveLength(2);
  });

  it("ring once for each surge, as a surge", () => {
    const surging = (minute: number): boolean => minute < 15 || minute >= 30;
    expect(ringsOf((minute) => (surging(minute) ? ["skyActs"] : ["well"]), 40)).toEqual([
      "0 surge skyActs",
      "30 surge skyActs",
    ]);
  });

  it("are silent for what needs no hand", () => {
    expect(ringsOf(() => ["pausedByHand", "waiting", "well"], 60)).toEqual([]);
  });
});
