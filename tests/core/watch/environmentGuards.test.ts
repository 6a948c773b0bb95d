import { describe, expect, it } from "vitest";
import { idleWatch } from "../../../core/watch/idleWatch.ts";
import type { WatchState } from "../../../core/watch/state.ts";
import { at, connectedCamera, play, started } from "../../support/watchFixtures.ts";

/** A watch after readings of the climate sensor, a minute apart. */
function afterClimate(
  readings: readonly (readonly [temperatureC: number, humidityPercent: number | null])[],
  from: WatchState = idleWatch(),
): WatchState {
  const events = readings.map(([temperatureC, humidityPercent], index) =>
    at(60_000 * index, { kind: "climateRead", temperatureC, humidityPercent }),
  );
  return play(events, from).state;
}

const names = ({ known }: WatchState): readonly string[] => known.guards.map(({ guard }) => guard);

describe("the guards over air and glass", () => {
  // Frost point at −5 °C and 90 %: −5.7 °C (Alduchov and Eskridge 1996); glass stands 3 K lower.
  it("note frost at −5 °C and 90 %, and say below which temperature of the glass", () => {
    const [guard] = afterClimate([[-5, 90]]).known.guards;
    expect(guard).toMatchObject({ guard: "dew", level: "note" });
    expect(guard!.sentence).toMatch(/−5 °C with 90 %.* below −6 °C takes frost/);
  });

  it("are silent at 10 °C and 60 %, and where humidity is not measured", () => {
    expect(names(afterClimate([[10, 60]]))).toEqual([]);
    expect(names(afterClimate([[-5, null]]))).toEqual([]);
  });

  it("stay up until the air is a kelvin better, and keep when they began", () => {
    // Dew point at 10 °C: 7 °C at 81.6 %, 6.5 °C at 78.9 %, 5 °C at 71 %.
    const state = afterClimate([
      [10, 85],
      [10, 79],
    ]);
    expect(state.known.guards).toMatchObject([{ guard: "dew", sinceMs: 0 }]);
    expect(names(afterClimate([[10, 79]]))).toEqual([]);
    expect(names(afterClimate([[10, 71]], state))).toEqual([]);
  });

  it("leave alone what the stars say of the lens", () => {
    const dew = { guard: "dew", level: "warning", sentence: "Stars fade.", sinceMs: 0 as never };
    const idle = idleWatch();
    const warned = { ...idle, known: { ...idle.known, guards: [dew] } } as WatchState;
    expect(afterClimate([[10, 30]], warned).known.guards).toEqual([dew]);
  });

  it("note cold at −15 °C until it is −14 °C again", () => {
    const state = afterClimate([[-15, null]]);
    expect(names(state)).toEqual(["cold"]);
    expect(names(afterClimate([[-14.5, null]], state))).toEqual(["cold"]);
    expect(names(afterClimate([[-13.9, null]], state))).toEqual([]);
  });

  it("change nothing else, whatever the shutter is doing", () => {
    const { state } = play([at(0, started()), at(100, connectedCamera())]);
    const after = afterClimate([[-20, 95]], state);
    expect(after.phase).toEqual(state.phase);
    expect(names(after)).toEqual(["dew", "cold"]);
  });
});

describe("the guard over the clocks", () => {
  const connected = (clockOffsetMs: number | undefined): WatchState =>
    play([at(0, started()), at(100, connectedCamera({ clockOffsetMs }))]).state;

  it("notes a camera that is 75 s ahead of this computer, and is silent at 2 s and unknown", () => {
    expect(connected(75_000).known.guards).toMatchObject([
      { guard: "clock", level: "note", sentence: expect.stringContaining("75 s ahead") as string },
    ]);
    expect(connected(2000).known.guards).toEqual([]);
    expect(connected(undefined).known.guards).toEqual([]);
  });

  it("goes by GNSS once a receiver was heard", () => {
    const heard = (oursLessGnssMs: number, from: WatchState): WatchState =>
      play([at(500, { kind: "clockCompared", oursLessGnssMs })], from).state;
    const [guard] = heard(-10_000, connected(0)).known.guards;
    expect(guard!.sentence).toContain("10 s behind GNSS time");
    expect(heard(-75_000, connected(75_000)).known.guards).toEqual([]);
  });
});

describe("the guard over this computer's sleep", () => {
  const guarded = (lack: string | null, from: WatchState): WatchState =>
    play([at(500, { kind: "sleepGuarded", lack })], from).state;
  const awake = (): WatchState => play([at(0, started()), at(100, connectedCamera())]).state;

  it("notes what may send it to sleep, and takes it back once it is kept awake", () => {
    const lack = "This computer may fall asleep.";
    const noted = guarded(lack, awake());
    expect(noted.known.guards).toMatchObject([{ guard: "sleep", level: "note", sentence: lack }]);
    expect(guarded(null, noted).known.guards).toEqual([]);
  });

  it("decides nothing: the watch stands where it stood", () => {
    expect(guarded("It may.", awake()).phase).toEqual(awake().phase);
  });
});
