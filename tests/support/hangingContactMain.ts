// A contact owner that closes its contact and then hangs.
import { ownContact } from "../../controller/release/ownContact.ts";

ownContact(async () => ({
  halfPressMs: 0,
  set: async (state) => {
    if (state === "closed") for (;;);
  },
  onLost: () => undefined,
  close: () => Promise.resolve(),
}));
