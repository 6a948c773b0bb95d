import { mkdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { approveProfile } from "../../../controller/bench-check/approveProfile.ts";
import { readProfiles } from "../../../controller/profiles/readProfiles.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

function withOwn(name: string, text: string): string {
  const dataDir = temporaryFolder();
  mkdirSync(join(dataDir, "profiles", "cameras"), { recursive: true });
  writeFileSync(join(dataDir, "profiles", "cameras", name), text);
  return dataDir;
}

const makersOwn = (over: object = {}): string =>
  JSON.stringify({
    ...{ id: "mine", label: "Mine", extends: "standard" },
    connect: {
      steps: [{ kind: "operation", operation: "0x9207", parameters: [] }],
      evidence: "from memory, not tried on hardware",
    },
    ...over,
  });

describe("a profile from somebody else", () => {
  it("runs its maker's own operations only once it is approved on this machine, as it is", () => {
    const dataDir = withOwn("mine.json", makersOwn());
    expect(() => readProfiles(dataDir)).toThrow(/0x9207.*not approved.*--approve mine/);
    approveProfile(dataDir, "mine");
    expect(readProfiles(dataDir).cameras.own).toHaveLength(1);
    const file = join(dataDir, "profiles", "cameras", "mine.json");
    writeFileSync(file, makersOwn({ label: "Changed since" }));
    expect(() => readProfiles(dataDir)).toThrow(/not approved/);
  });

  it("is not approved under a name that leads elsewhere", () => {
    expect(() => approveProfile(temporaryFolder(), "../mine")).toThrow(/--approve must name/);
  });

  it.each(["0x100b", "0x100f", "0x1010", "0x1013", "0x100c", "0x100d", "0x9808"])(
    "is refused whole where it has a camera do %s",
    (operation) => {
      const steps = [{ kind: "operation", operation, parameters: [] }];
      const evidence = "from memory, not tried on hardware";
      const dataDir = withOwn("mine.json", makersOwn({ connect: { steps, evidence } }));
      expect(() => readProfiles(dataDir)).toThrow(/connect\/steps\/0\/operation .* may name/);
    },
  );
});

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
