import { describe, expect, it } from "vitest";
import { readProfiles } from "../../../controller/profiles/readProfiles.ts";
import { chooseRelease } from "../../../controller/release/parseRelease.ts";

const { releases } = readProfiles(null);
const none = () => Promise.resolve([]);

describe("--release", () => {
  it.each([
    [
      "serial:/dev/ttyUSB0",
      { path: "/dev/ttyUSB0", line: "dtr", closedAt: "high", halfLine: null },
    ],
    ["serial:COM3:rts", { path: "COM3", line: "rts", closedAt: "high" }],
    ["serial:/dev/a:0:1:dtr:low", { path: "/dev/a:0:1", line: "dtr", closedAt: "low" }],
    ["serial:/dev/x:half", { line: "dtr", halfLine: "rts", halfPressMs: 300 }],
    ["serial:low", { path: "low", closedAt: "high" }],
    ["hid:16c0:05DF", { kind: "hid", vendorId: 0x16c0, productId: 0x05df, reportKind: "feature" }],
  ])("%s is %o", async (word, target) => {
    expect((await chooseRelease(word, releases, none)).target).toMatchObject(target);
  });

  it("hid takes the first relay plugged in that a profile knows", async () => {
    const plugged = () =>
      Promise.resolve([
        { vendorId: 1, productId: 1 },
        { vendorId: 0x5131, productId: 0x2007 },
      ]);
    expect((await chooseRelease("hid", releases, plugged)).target).toMatchObject({
      vendorId: 0x5131,
    });
    await expect(chooseRelease("hid", releases, none)).rejects.toMatchObject({
      code: "release.gone",
    });
  });

  it.each(["", "bluetooth", "hid:1234:5678", "hid:zz", "serial:", "serial:x:dtr:rts"])(
    "says what is wrong with %j in one line",
    async (word) => {
      await expect(chooseRelease(word, releases, none)).rejects.toMatchObject({
        code: "usage.invalid",
        message: expect.not.stringContaining("\n") as string,
      });
    },
  );
});
