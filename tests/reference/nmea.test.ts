import { describe, expect, it } from "vitest";
import { checksumOf, readNmea } from "../../core/sensors/nmea.ts";
import { utcMs } from "../../core/units.ts";

// Source: the textbook sentences of NMEA 0183 handbooks, checksums recomputed by hand from the rule
// "exclusive or of the characters between $ and *".
const LONG_AGO = utcMs(Date.UTC(1990, 0, 1));

describe("NMEA 0183 textbook sentences", () => {
  it("reads GGA: 48.1173° N, 11.516667° E, 545.4 m, 8 satellites, no date", () => {
    const outcome = readNmea(
      "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
      LONG_AGO,
    );
    expect(outcome).toMatchObject({
      kind: "fix",
      fix: { utcMs: null, altitudeM: 545.4, satelliteCount: 8 },
    });
    if (outcome.kind !== "fix") return;
    expect(outcome.fix.latitudeDeg).toBeCloseTo(48.1173, 6);
    expect(outcome.fix.longitudeDeg).toBeCloseTo(11.516667, 6);
  });

  it("reads RMC: 1994-03-23 12:35:19 UTC, 48.1173° N, 11.516667° E", () => {
    const line = "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A";
    const outcome = readNmea(line, LONG_AGO);
    expect(outcome).toMatchObject({
      kind: "fix",
      fix: { utcMs: Date.UTC(1994, 2, 23, 12, 35, 19) },
    });
    if (outcome.kind !== "fix") return;
    expect(outcome.fix.latitudeDeg).toBeCloseTo(48.1173, 6);
  });

  it("reads GLL: 49.2742° N, 123.1853° W", () => {
    const outcome = readNmea("$GPGLL,4916.45,N,12311.12,W,225444,A*31", LONG_AGO);
    expect(outcome.kind).toBe("fix");
    if (outcome.kind !== "fix") return;
    expect(outcome.fix.latitudeDeg).toBeCloseTo(49 + 16.45 / 60, 9);
    expect(outcome.fix.longitudeDeg).toBeCloseTo(-(123 + 11.12 / 60), 9);
  });

  it("reads ZDA: 2002-07-04 20:15:30 UTC", () => {
    expect(readNmea("$GPZDA,201530.00,04,07,2002,00,00*60", LONG_AGO)).toMatchObject({
      kind: "fix",
      fix: { utcMs: Date.UTC(2002, 6, 4, 20, 15, 30) },
    });
  });

  it("reads RMC of a combined receiver: 2026-11-25 22:15:30 UTC, 69.65° N, 18.96° E", () => {
    const line = "$GNRMC,221530.00,A,6939.0000,N,01857.6000,E,0.0,,251126,,,A*62";
    const outcome = readNmea(line, utcMs(Date.UTC(2026, 0, 1)));
    expect(outcome).toMatchObject({
      kind: "fix",
      fix: { utcMs: Date.UTC(2026, 10, 25, 22, 15, 30) },
    });
    if (outcome.kind !== "fix") return;
    expect(outcome.fix.latitudeDeg).toBeCloseTo(69.65, 9);
    expect(outcome.fix.longitudeDeg).toBeCloseTo(18.96, 9);
  });

  it.each([
    ["$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*", 0x47],
    ["$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*", 0x6a],
    ["$GPGLL,4916.45,N,12311.12,W,225444,A*", 0x31],
    ["$GPZDA,201530.00,04,07,2002,00,00*", 0x60],
  ])("computes the checksum of %s", (sentence, checksum) => {
    expect(checksumOf(sentence.slice(1, -1))).toBe(checksum);
  });
});
