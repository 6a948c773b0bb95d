import { describe, expect, it } from "vitest";
import { NightError } from "../../../core/errors.ts";
import {
  parseCameraProfile,
  parseReleaseProfile,
  parseSensorProfile,
} from "../../../core/profiles/parse.ts";

const FILE = "profiles/cameras/made-up.json";
const BARE = { id: "made-up", label: "A made-up body" };

function faultOf(act: () => unknown): NightError {
  try {
    act();
  } catch (thrown) {
    if (thrown instanceof NightError) return thrown;
    throw thrown;
  }
  throw new Error("nothing was refused");
}

const table = (...entries: readonly object[]) => ({
  settings: { iso: { property: "0x500f", coding: { kind: "table", entries }, evidence: "none" } },
});

const curve = (...codes: readonly number[]) => ({
  toneCurve: { points: codes.map((code, at) => ({ lightStops: at, code })), evidence: "none" },
});

describe("a camera profile that is wrong", () => {
  it.each([
    [{ ...BARE, ...curve(1, 2, 3, 4, 5) }, "/toneCurve/points", /length/],
    [
      { ...BARE, ...curve(1, 2, 3, 4, 60, 50, 120, 200) },
      "/toneCurve/points/5",
      /both rise strictly/,
    ],
    [{ ...BARE, colour: "black" }, "/colour", /no such field/],
    [{ label: "no id" }, "/id", /missing/],
    [{ ...BARE, id: "other" }, "/id", /not the file's name/],
    [{ ...BARE, match: [{ usbVendorId: "1234" }] }, "/match/0/usbVendorId", /0x500d/],
    [{ ...BARE, match: [{ firmware: "new" }] }, "/match/0/firmware", />=1.2 <3/],
    [
      { ...BARE, settings: { iso: { property: "0x500f", coding: { kind: "scale", perUnit: 1 } } } },
      "/settings/iso/evidence",
      /missing/,
    ],
    [
      { ...BARE, ...table({ code: 1, value: 200 }, { code: 2, value: 100 }) },
      "/settings/iso/coding/entries/1/value",
      /rise strictly/,
    ],
    [
      { ...BARE, ...table({ code: 1, value: 100 }, { code: 1, value: 200 }) },
      "/settings/iso/coding/entries/1/code",
      /there already/,
    ],
    [
      { ...BARE, quirks: [{ id: "unheardOf", why: "so", evidence: "none" }] },
      "/quirks/0/id",
      /reusedHandle/,
    ],
  ])("is refused with file, pointer and reason: %j", (json, pointer, words) => {
    const error = faultOf(() => parseCameraProfile(json, FILE));
    expect(error.code).toBe("profile.invalid");
    expect(error.details).toMatchObject({ file: FILE, pointer });
    expect(error.message).toContain(FILE);
    expect(error.message).toMatch(words);
  });

  it("escapes slashes in pointers", () => {
    const error = faultOf(() => parseCameraProfile({ ...BARE, "a/b~c": 1 }, FILE));
    expect(error.details["pointer"]).toBe("/a~1b~0c");
  });
});

describe("profiles of releases and sensors that are wrong", () => {
  it("are refused: a half-press on the release's own line", () => {
    const json = {
      ...{ id: "made-up", label: "x", kind: "serial", line: "dtr", closedAt: "high" },
      ...{ halfLine: "dtr", halfPressMs: 1, busySeconds: 1, evidence: "none" },
    };
    const error = faultOf(() => parseReleaseProfile(json, "made-up.json"));
    expect(error.details).toMatchObject({ pointer: "/halfLine" });
  });

  it("are refused: a byte of 256 in a report", () => {
    const json = {
      ...{ id: "made-up", label: "x", kind: "hid", reportKind: "output", busySeconds: 1 },
      match: { usbVendorId: "0x0001", usbProductId: "0x0002" },
      ...{ closeReport: [0, 256], openReport: [0], evidence: "none" },
    };
    const error = faultOf(() => parseReleaseProfile(json, "made-up.json"));
    expect(error.details).toMatchObject({ pointer: "/closeReport/1" });
  });

  it("are refused: a sensor without a speed", () => {
    const json = { id: "made-up", label: "x", kind: "gnss", protocol: "nmea0183" };
    const error = faultOf(() => parseSensorProfile(json, "made-up.json"));
    expect(error.details).toMatchObject({ pointer: "/baudRate" });
  });
});
