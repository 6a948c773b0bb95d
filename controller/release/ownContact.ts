import { endingSignals } from "../endingSignals.ts";
import { askForPriority } from "../workers/threadPriority.ts";
import { ContactOwner } from "./contactOwner.ts";
import type { ContactDevice } from "./contactDevice.ts";
import type { ToContact } from "./contactMessages.ts";
import type { ReleaseTarget } from "./releaseTarget.ts";

/** A device that does not let itself be closed does not keep the process. */
const END_MS = 3_000;

/**
 * Makes this process the owner of a release contact, in the service of the one that forked it: when
 * that one ends, however it ends, the contact opens and this process ends, too.
 */
export function ownContact(open: (target: ReleaseTarget) => Promise<ContactDevice>): void {
  const owner = new ContactOwner({
    open,
    scheduling: askForPriority(),
    tell: (message) => {
      if (process.connected) process.send?.(message, undefined, undefined, () => undefined);
    },
    onEnd: () => process.exit(0),
  });
  const end = (): void => {
    owner.end();
    setTimeout(() => process.exit(1), END_MS).unref();
  };
  process.on("message", (message: ToContact) => owner.take(message));
  process.on("disconnect", end);
  // A closed window reaches us, too; the program that asked for us outlives it, and disconnects at its end.
  process.on("SIGHUP", () => undefined);
  for (const signal of endingSignals({ outlivesTerminal: true })) process.on(signal, end);
  process.on("uncaughtException", end);
}
