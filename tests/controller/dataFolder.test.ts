import { mkdirSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { otherNightsLine, platformDataFolder } from "../../controller/dataFolder.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";

/** The XDG Base Directory Specification 0.8; the other two systems from memory, unconfirmed. */
describe("the data folder of an installed program", () => {
  const unix = "/home/ada";
  const windows = "C:\\Users\\ada";

  it.each([
    ["linux", {}, unix, "/home/ada/.local/share/nattvakt"],
    ["linux", { XDG_DATA_HOME: "/disk/share" }, unix, "/disk/share/nattvakt"],
    ["linux", { XDG_DATA_HOME: "" }, unix, "/home/ada/.local/share/nattvakt"],
    // "If an implementation encounters a relative path … it should … ignore it."
    ["linux", { XDG_DATA_HOME: "share" }, unix, "/home/ada/.local/share/nattvakt"],
    ["freebsd", {}, unix, "/home/ada/.local/share/nattvakt"],
    ["darwin", {}, "/Users/ada", "/Users/ada/Library/Application Support/Nattvakt"],
    [
      "darwin",
      { XDG_DATA_HOME: "/x" },
      "/Users/ada",
      "/Users/ada/Library/Application Support/Nattvakt",
    ],
    ["win32", { LOCALAPPDATA: "D:\\Local" }, windows, "D:\\Local\\Nattvakt"],
    ["win32", {}, windows, "C:\\Users\\ada\\AppData\\Local\\Nattvakt"],
  ] as const)("on %s with %o lies below %s as %s", (platform, env, home, folder) => {
    expect(platformDataFolder({ platform, env, home })).toBe(folder);
  });
});

describe("nights in the working folder's data/", () => {
  it("are named when the data folder in use is another", () => {
    const clone = temporaryFolder();
    expect(otherNightsLine(clone, "/home/ada/nights")).toBeNull();
    const nights = join(clone, "data", "nights");
    mkdirSync(nights, { recursive: true });
    expect(otherNightsLine(clone, "/home/ada/nights")).toBeNull();
    mkdirSync(join(nights, "2026-10-05_Lake"));
    expect(otherNightsLine(clone, "/home/ada/nights")).toBe(
      `${join(clone, "data")} holds a night, too; --data data shows that folder instead of /home/ada/nights.`,
    );
    mkdirSync(join(nights, "2026-10-06_Lake"));
    expect(otherNightsLine(clone, "/home/ada/nights")).toContain("holds 2 nights");
  });

  it("are not another folder's when they are the ones in use", () => {
    const clone = temporaryFolder();
    mkdirSync(join(clone, "data", "nights", "2026-10-05_Lake"), { recursive: true });
    expect(otherNightsLine(clone, join(clone, "data"))).toBeNull();
  });
});
