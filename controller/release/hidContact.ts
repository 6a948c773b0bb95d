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

/** Numbers of a HID device that is plugged in. */
export type HidIds = { readonly vendorId: number; readonly productId: number };

/** The system's HID devices. */
export type HidSystem = {
  open(vendorId: number, productId: number): Promise<RelayDevice>;
  /** What is plugged in, whether or not this account may open it. */
  list(): Promise<readonly HidIds[]>;
};

/** The system's own driver, loaded only where it is needed. */
export const hidSystem: HidSystem = {
  open: async (vendorId, productId) => {
    const { HIDAsync } = await importNative("node-hid", () => import("node-hid"));
    return await HIDAsync.open(vendorId, productId);
  },
  list: async () => {
    const { devicesAsync } = await importNative("node-hid", () => import("node-hid"));
    return await devicesAsync();
  },
};

/**
 * Takes a HID relay and opens its contact at once: a relay keeps the state it was left in.
 *
 * @throws NightError `release.gone` when there is no such device, or none that may be opened, `release.unsafe` when it does not
 *   take the report that opens the contact.
 */
export async function openHidContact(
  target: HidRelease,
  system: HidSystem = hidSystem,
): Promise<ContactDevice> {
  const { vendorId, productId } = target;
  const name = `${hex(vendorId)}:${hex(productId)}`;
  const device = await system.open(vendorId, productId).catch(async (error: unknown) => {
    const why = await whyNotOpened(target, system);
    throw new NightError("release.gone", `The HID relay ${name} ${why}`, {}, { cause: error });
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

async function whyNotOpened(
  { vendorId, productId }: HidRelease,
  system: HidSystem,
): Promise<string> {
  const plugged = await system.list().catch(() => []);
  const isThere = plugged.some((ids) => ids.vendorId === vendorId && ids.productId === productId);
  if (!isThere) return "is not plugged in.";
  return process.platform === "linux"
    ? "is plugged in, but this account may not open it, or another program holds it; install the rule in hardware-profiles/70-nattvakt.rules, join the group plugdev, and plug the relay in again."
    : "is plugged in, but cannot be opened; another program may hold it.";
}

function hex(value: number): string {
  return value.toString(16).padStart(4, "0");
}
