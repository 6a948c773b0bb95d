import { describe, expect, it } from "vitest";
import { openHidContact, type RelayDevice } from "../../../controller/release/hidContact.ts";
import type { HidRelease } from "../../../controller/release/releaseTarget.ts";

const RELAY: HidRelease = {
  kind: "hid",
  vendorId: 0x1234,
  productId: 0xabcd,
  reportKind: "feature",
  closeReport: [0, 0xff, 1],
  openReport: [0, 0xfd, 1],
};

function relay(sent: (readonly [string, number[]])[], over: Partial<RelayDevice> = {}) {
  const device: RelayDevice = {
    write: async (report) => sent.push(["output", report]),
    sendFeatureReport: async (report) => sent.push(["feature", report]),
    close: async () => void sent.push(["close", []]),
    on: () => undefined,
    ...over,
  };
  return () => Promise.resolve(device);
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
    const none = () => Promise.reject(new Error("cannot open device"));
    await expect(openHidContact(RELAY, none)).rejects.toMatchObject({
      code: "release.gone",
      message: expect.stringContaining("1234:abcd") as string,
    });
  });
});
