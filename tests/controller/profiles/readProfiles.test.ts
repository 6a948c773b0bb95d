import { mkdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { readProfiles } from "../../../controller/profiles/readProfiles.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

function withOwn(name: string, text: string): string {
  const dataDir = temporaryFolder();
  mkdirSync(join(dataDir, "profiles", "cameras"), { recursive: true });
  writeFileSync(join(dataDir, "profiles", "cameras", name), text);
  return dataDir;
}

describe("a user's own profiles", () => {
  it("are found in the data folder, and need not be there", () => {
    const text = JSON.stringify({ id: "mine", label: "Mine", extends: "standard" });
    const { cameras } = readProfiles(withOwn("mine.json", text));
    expect(cameras.own.map(({ profile }) => profile.id)).toEqual(["mine"]);
    expect(readProfiles(temporaryFolder()).cameras.own).toEqual([]);
  });

  it.each([
    ["{", /is not JSON/],
    [JSON.stringify({ id: "mine", label: "Mine", extends: "gone" }), /at \/extends .*"gone"/],
    [JSON.stringify({ id: "mine", label: "Mine", iso: 1 }), /at \/iso .*no such field/],
  ])("that are wrong are reported at the start, with their file: %s", (text, words) => {
    const dataDir = withOwn("mine.json", text);
    expect(() => readProfiles(dataDir)).toThrow(
      expect.objectContaining({
        code: "profile.invalid",
        message: expect.stringMatching(words) as string,
      }),
    );
    expect(() => readProfiles(dataDir)).toThrow(join(dataDir, "profiles/cameras/mine.json"));
  });
});
