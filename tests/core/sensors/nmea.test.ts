import fc from "../../support/properties.ts";
import { describe, expect, it } from "vitest";
import { checksumOf, readNmea } from "../../../core/sensors/nmea.ts";
import { utcMs } from "../../../core/units.ts";

const BUILT = utcMs(Date.UTC(2026, 0, 1));
const sentence = (body: string): string =>
  `$${body}*${checksumOf(body).toString(16).toUpperCase().padStart(2, "0")}`;

describe("a GNSS sentence", () => {
  it("is rejected when one character changed on the way", () => {
    expect(
      readNmea("$GPGGA,123519,4807.039,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47", BUILT),
    ).toEqual({ kind: "rejected", why: "the checksum is wrong" });
  });

  it.each([
    ["status V", "GPRMC,221530.00,V,,,,,,,251126,,,N"],
    ["mode N", "GNRMC,221530.00,A,6939.0,N,01857.6,E,0.0,,251126,,,N"],
    ["quality 0", "GPGGA,123519,,,,,0,00,,,M,,M,,"],
  ])("gives no fix with %s", (_what, body) => {
    expect(readNmea(sentence(body), BUILT).kind).toBe("noFix");
  });

  it("is rejected when its date lies before the program was built, as after a week rollover", () => {
    const body = "GNRMC,221530.00,A,6939.0,N,01857.6,E,0.0,,110407,,,A";
    expect(readNmea(sentence(body), BUILT)).toEqual({
      kind: "rejected",
      why: "the receiver's date is years off",
    });
  });

  it("believes neither 31 February nor 61 minutes of arc", () => {
    expect(readNmea(sentence("GPZDA,201530.00,31,02,2027,00,00"), BUILT).kind).toBe("noFix");
    const outcome = readNmea(sentence("GNRMC,221530,A,6961.0,N,01857.6,E,,,251126,,,A"), BUILT);
    expect(outcome).toMatchObject({ kind: "fix", fix: { latitudeDeg: null } });
  });

  it("never throws, whatever comes down the line", () => {
    fc.assert(fc.property(fc.string(), (line) => void readNmea(line, BUILT)));
    fc.assert(fc.property(fc.string(), (body) => void readNmea(sentence(`GNRMC,${body}`), BUILT)));
  });
});
