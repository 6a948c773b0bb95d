import type { ContactDevice } from "./contactDevice.ts";
import { openHidContact } from "./hidContact.ts";
import type { ReleaseTarget } from "./releaseTarget.ts";
import { openSerialContact } from "./serialContact.ts";

/** Takes the device of a release contact; the contact is open when this resolves. */
export async function openContact(target: ReleaseTarget): Promise<ContactDevice> {
  return target.kind === "serial" ? await openSerialContact(target) : await openHidContact(target);
}

/**
 * Opens the contact of a device that nobody owns any more, and releases it. The system itself
 * lowers the lines of a serial port whose owner has died; opening it again would raise them.
 */
export async function releaseContact(target: ReleaseTarget): Promise<void> {
  if (target.kind === "serial" && target.closedAt === "high") return;
  await (await openContact(target)).close();
}
