import { readFileSync } from "node:fs";
import { describe, expect, test } from "vitest";
import { nightTimes } from "../../core/sky/darkness.ts";
import { placeOf } from "../../core/sky/place.ts";
import { risesAndSets, upperLimbDeg, type RisingBody } from "../../core/sky/riseAndSet.ts";

type Event = { readonly atMs: number; readonly direction: "rising" | "falling" };
type Case = {
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  readonly dateIso: string;
  readonly startMs: number;
  readonly sun: readonly Event[];
  readonly moon: readonly Event[];
};

// By PyEphem (libastro), sixty places and dates; `writeRiseAndSet.py` beside this file wrote it.
const CASES = (
  JSON.parse(readFileSync(new URL("../fixtures/riseAndSet.json", import.meta.url), "utf8")) as {
    readonly cases: readonly Case[];
  }
).cases;

const MINUTE_MS = 60_000;

/** Distance in altitude, degrees, and in time of every event from the other ephemeris's. */
function compare(body: RisingBody, one: Case): void {
  const place = placeOf(one);
  const ours = risesAndSets(body, place, {
    startMs: one.startMs,
    endMs: one.startMs + 86_400_000,
  });
  for (const { atMs, direction } of one[body]) {
    const slope =
      (upperLimbDeg(body, atMs + 5 * MINUTE_MS, place) -
        upperLimbDeg(body, atMs - 5 * MINUTE_MS, place)) *
      6;
    // At their moment the limb stands on our horizon, within a hundredth of a degree.
    expect(Math.abs(upperLimbDeg(body, atMs, place))).toBeLessThan(0.01);
    if (Math.abs(slope) < 3) continue;
    const near = ours.find(
      (own) => own.direction === direction && Math.abs(own.atMs - atMs) < MINUTE_MS,
    );
    expect(near, `${direction} at ${new Date(atMs).toISOString()}`).toBeDefined();
  }
}

describe("rise and set by the almanac", () => {
  test.each(CASES)(
    "are another ephemeris's within 0.01° and a minute at $latitudeDeg, $longitudeDeg on $dateIso",
    (one) => {
      compare("sun", one);
      compare("moon", one);
    },
  );

  test("are what the night's plan tells: the Sun's within a minute where it moves briskly", () => {
    let reported = 0;
    for (const one of CASES) {
      const times = nightTimes(one.dateIso, placeOf(one));
      const sets = one.sun.filter(({ direction }) => direction === "falling");
      if (times.sunsetUtcMs === null) {
        expect(sets.length).toBeLessThanOrEqual(1);
        continue;
      }
      if (Math.abs(one.latitudeDeg) > 60) continue;
      reported += 1;
      expect(Math.abs(times.sunsetUtcMs - sets[0]!.atMs)).toBeLessThan(MINUTE_MS);
    }
    expect(reported).toBeGreaterThan(10);
  });
});
