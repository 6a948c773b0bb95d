import { describe, expect, it } from "vitest";
import {
  checkOverlaps,
  controlsOf,
  isVersionIn,
  resolveCameraProfile,
} from "../../../core/profiles/resolve.ts";
import { aDevice, aProfile, profilesWith } from "../../support/profileFixtures.ts";

describe("choosing a camera's profile", () => {
  it("serves a camera that nobody knows by the standard's own", () => {
    expect(resolveCameraProfile(aDevice(), profilesWith()).profileId).toBe("standard");
  });

  it("takes the vendor extension's where the device names one", () => {
    const device = aDevice({ ptpVendorExtensionId: 0x0000000a });
    expect(resolveCameraProfile(device, profilesWith()).profileId).toBe("extension-0000000a");
  });

  it.each([6, 0xffffffff])(
    "knows a maker's operations again under the id %i that many cameras report",
    (ptpVendorExtensionId) => {
      const records = [0x1001, 0x9110, 0x9114, 0x9116, 0x9125];
      const device = aDevice({ ptpVendorExtensionId, operations: records });
      expect(resolveCameraProfile(device, profilesWith()).profileId).toBe("extension-0000000b");
      const fewer = aDevice({ ptpVendorExtensionId, operations: records.slice(0, 4) });
      expect(resolveCameraProfile(fewer, profilesWith()).profileId).toBe("standard");
    },
  );

  it("goes by the manufacturer's and the model's own words over a network too", () => {
    const own = aProfile({ match: [{ manufacturer: "Nobody", model: "Made-up" }] });
    const choose = (over: object): string =>
      resolveCameraProfile(aDevice(over), profilesWith(own)).profileId;
    expect(choose({})).toBe("made-up");
    expect(choose({ manufacturer: "Somebody" })).toBe("standard");
  });

  it("lets a user's own win over a shipped one, even by a looser match", () => {
    const own = aProfile({ match: [{ ptpVendorExtensionId: "0xa" }] });
    const device = aDevice({ ptpVendorExtensionId: 10, usbVendorId: 1, usbProductId: 2 });
    expect(resolveCameraProfile(device, profilesWith(own)).profileId).toBe("made-up");
  });

  it("prefers the product to the maker, and one device to all of its kind", () => {
    const maker = aProfile({ id: "maker", match: [{ usbVendorId: "0xffff" }] });
    const product = aProfile({
      id: "product",
      match: [{ usbVendorId: "0xffff", usbProductId: "0x0a01" }],
    });
    const mine = aProfile({ id: "mine", match: [{ model: "Made-up", serialNumber: "0001" }] });
    const profiles = profilesWith(maker, product, mine);
    const chosen = (over: Parameters<typeof aDevice>[0]): string =>
      resolveCameraProfile(aDevice(over), profiles).profileId;
    const usb = { usbVendorId: 0xffff, usbProductId: 0x0a01 };
    expect(chosen({ ...usb, usbProductId: 1, serialNumber: "2" })).toBe("maker");
    expect(chosen({ ...usb, serialNumber: "2" })).toBe("product");
    expect(chosen(usb)).toBe("mine");
  });

  it.each([
    ["1.2", ">=1.2 <3", true],
    ["1.10", ">=1.2", true],
    ["3", ">=1.2 <3", false],
    ["1.2.0", "=1.2", true],
    ["V 2.01", ">2", true],
    ["", ">=1", false],
  ])("finds firmware %s in %s: %s", (version, ranges, isIn) => {
    expect(isVersionIn(version, ranges)).toBe(isIn);
  });

  it("refuses two profiles that name the same devices, however the number is written", () => {
    const one = aProfile({ id: "one", match: [{ ptpVendorExtensionId: "0x0000000a" }] });
    const two = aProfile({ id: "two", match: [{ ptpVendorExtensionId: "0xa" }] });
    expect(() => checkOverlaps([one, two])).toThrow(
      expect.objectContaining({
        code: "profile.invalid",
        message: expect.stringContaining("/match/0") as string,
      }),
    );
  });
});

describe("a profile that extends another", () => {
  it("changes what it names and keeps the rest", () => {
    const own = aProfile({
      settings: { battery: null },
      timing: { settleMs: 80, evidence: "made up" },
    });
    const controls = controlsOf("made-up", profilesWith(own));
    const standard = controlsOf("standard", profilesWith());
    expect(controls).toEqual({
      ...standard,
      profileId: "made-up",
      battery: null,
      settleMs: 80,
    });
  });

  it("may extend a shipped vendor's, and a third its own", () => {
    const one = aProfile({ id: "one", extends: "extension-00000011" });
    const two = aProfile({
      id: "two",
      extends: "one",
      shutter: { bulbExcessMs: { value: 12.5, evidence: "bench check" } },
    });
    const controls = controlsOf("two", profilesWith(one, two));
    expect(controls.bulbExcessMs).toBe(12.5);
    expect(controls.quirks).toEqual(["reusedHandle"]);
  });

  it.each([
    ["nobody", [aProfile({ extends: "nobody" })], /no profile "nobody"/],
    [
      "itself",
      [aProfile({ id: "made-up", extends: "b" }), aProfile({ id: "b", extends: "made-up" })],
      /extends itself/,
    ],
  ])("is refused when it extends %s", (_, own, words) => {
    expect(() => controlsOf("made-up", profilesWith(...own))).toThrow(words);
  });

  it("leaves the coding of a property of the standard to the standard's declaration", () => {
    const iso = { property: "0x5007", evidence: "made up" };
    const program = { property: "0x500a", evidence: "made up" };
    const own = aProfile({ settings: { iso, program } });
    const controls = controlsOf("made-up", profilesWith(own));
    expect(controls.iso).toEqual({ propertyCode: 0x5007, coding: { kind: "scale", perUnit: 100 } });
    expect(controls.program).toEqual({ propertyCode: 0x500a, manualCode: 1 });
  });

  it.each([
    ["iso", "/settings/iso/coding"],
    ["program", "/settings/program/manual"],
  ])("is refused when it does not say how a maker's own %s is coded", (name, pointer) => {
    const own = aProfile({ settings: { [name]: { property: "0xd001", evidence: "made up" } } });
    expect(() => controlsOf("made-up", profilesWith(own))).toThrow(pointer);
  });

  it("is refused when something is missing that nobody else gives", () => {
    const { profile } = aProfile({});
    const bare = { ...profile };
    delete bare.extends;
    const own = { file: "made-up.json", profile: bare };
    expect(() => controlsOf("made-up", profilesWith(own))).toThrow(/\/shutter\/timedBelowSeconds/);
  });
});
