import { readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { readProfiles } from "../../../controller/profiles/readProfiles.ts";
import {
  openHidContact,
  type HidSystem,
  type RelayDevice,
} from "../../../controller/release/hidContact.ts";
import type { HidRelease } from "../../../controller/release/releaseTarget.ts";

const RELAY: HidRelease = {
  kind: "hid",
  vendorId: 0x1234,
  productId: 0xabcd,
  reportKind: "feature",
  closeReport: [0, 0xff, 1],
  openReport: [0, 0xfd, 1],
};

/** A system whose devices are there or not, and none of which may be opened. */
function shut(plugged: readonly HidRelease[]): HidSystem {
  return {
    open: () => Promise.reject(new Error("cannot open device")),
    list: () => Promise.resolve(plugged),
  };
}

function relay(sent: (readonly [string, number[]])[], over: Partial<RelayDevice> = {}): HidSystem {
  const device: RelayDevice = {
    write: async (report) => sent.push(["output", report]),
    sendFeatureReport: async (report) => sent.push(["feature", report]),
    close: async () => void sent.push(["close", []]),
    on: () => undefined,
    ...over,
  };
  return { open: () => Promise.resolve(device), list: () => Promise.resolve([RELAY]) };
}

describe("a HID relay", () => {
  it("is opened first, even if it was left closed, and again before it is released", async () => {
    const sent: (readonly [string, number[]])[] = [];
    const contact = await openHidContact(RELAY, relay(sent));
    await contact.set("closed");
    await contact.close();
    expect(sent).toEqual([
      ["feature", [0, 0xfd, 1]],
      ["feature", [0, 0xff, 1]],
      ["feature", [0, 0xfd, 1]],
      ["close", []],
    ]);
  });

  it("takes output reports where its profile says so, and stays open at half-press", async () => {
    const sent: (readonly [string, number[]])[] = [];
    const contact = await openHidContact({ ...RELAY, reportKind: "output" }, relay(sent));
    await contact.set("half");
    expect(sent).toEqual([
      ["output", [0, 0xfd, 1]],
      ["output", [0, 0xfd, 1]],
    ]);
  });

  it("is refused when it does not take the report that opens it", async () => {
    const stuck = relay([], { sendFeatureReport: () => Promise.reject(new Error("no")) });
    await expect(openHidContact(RELAY, stuck)).rejects.toMatchObject({ code: "release.unsafe" });
  });

  it("that is not plugged in is named by its numbers", async () => {
    await expect(openHidContact(RELAY, shut([]))).rejects.toMatchObject({
      code: "release.gone",
      message: "The HID relay 1234:abcd is not plugged in.",
    });
  });

  it.runIf(process.platform === "linux")(
    "that is plugged in and may not be opened names the rule that opens it",
    async () => {
      await expect(openHidContact(RELAY, shut([RELAY]))).rejects.toMatchObject({
        code: "release.gone",
        message: expect.stringMatching(/is plugged in.*70-nattvakt\.rules.*plugdev/) as string,
      });
    },
  );

  it("that a shipped profile describes is opened to a group by the shipped rules", () => {
    const { releases } = readProfiles(null);
    const rules = readFileSync("hardware-profiles/70-nattvakt.rules", "utf8");
    const relays = releases.map(({ profile }) => profile).filter(({ kind }) => kind === "hid");
    expect(relays.length).toBeGreaterThan(1);
    for (const profile of relays) {
      if (profile.kind !== "hid") continue;
      const { usbVendorId, usbProductId } = profile.match;
      const [vendor, product] = [usbVendorId, usbProductId].map((id) => id.replace(/^0x/, ""));
      expect(rules).toContain(
        `SUBSYSTEM=="hidraw", ATTRS{idVendor}=="${vendor}", ATTRS{idProduct}=="${product}", MODE="0660", GROUP="plugdev"`,
      );
    }
  });
});
