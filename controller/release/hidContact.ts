import { NightError } from "../../core/errors.ts";
import { importNative } from "../nativePackages.ts";
import type { ContactDevice, ContactState } from "./contactDevice.ts";
import type { HidRelease } from "./releaseTarget.ts";

/** As much of a HID device as a relay needs. */
export type RelayDevice = {
  write(report: number[]): Promise<number>;
  sendFeatureReport(report: number[]): Promise<number>;
  close(): Promise<void>;
  on(event: "error", listener: () => void): unknown;
};

type OpenRelay = (vendorId: number, productId: number) => Promise<RelayDevice>;

/** Opens a HID device with the system's driver, loaded only where it is needed. */
const openWithDriver: OpenRelay = async (vendorId, productId) => {
  const { HIDAsync } = await importNative("node-hid", () => import("node-hid"));
  return await HIDAsync.open(vendorId, productId);
};

/**
 * Takes a HID relay and opens its contact at once: a relay keeps the state it was left in.
 *
 * @throws NightError `release.gone` when there is no such device, `release.unsafe` when it does not
 *   take the report that opens the contact.
 */
export async function openHidContact(
  target: HidRelease,
  open: OpenRelay = openWithDriver,
): Promise<ContactDevice> {
  const { vendorId, productId } = target;
  const name = `${hex(vendorId)}:${hex(productId)}`;
  const device = await open(vendorId, productId).catch((error: unknown) => {
    throw new NightError(
      "release.gone",
      `The HID relay ${name} cannot be opened; is it plugged in, and may this user open it?`,
      {},
      { cause: error },
    );
  });
  const set = async (state: ContactState): Promise<void> => {
    // A single relay has no half-press: the contact is closed only for the release itself.
    const report = [...(state === "closed" ? target.closeReport : target.openReport)];
    if (target.reportKind === "feature") await device.sendFeatureReport(report);
    else await device.write(report);
  };
  try {
    await set("open");
  } catch (error) {
    await device.close().catch(() => undefined);
    throw new NightError(
      "release.unsafe",
      `The HID relay ${name} does not take the report that opens its contact; it is refused.`,
      {},
      { cause: error },
    );
  }
  return {
    halfPressMs: 0,
    set: async (state) => {
      try {
        await set(state);
      } catch (error) {
        throw new NightError(
          "release.gone",
          `The HID relay ${name} does not answer.`,
          {},
          { cause: error },
        );
      }
    },
    onLost: (listener) => void device.on("error", listener),
    close: async () => {
      await set("open").catch(() => undefined);
      await device.close().catch(() => undefined);
    },
  };
}

function hex(value: number): string {
  return value.toString(16).padStart(4, "0");
}
