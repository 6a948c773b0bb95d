// A process that closes a release contact and then does as it is ordered: hang, or wait to be killed.
import { ContactProcess } from "../../controller/release/contactProcess.ts";
import { realMs } from "../../controller/timing/clock.ts";
import { fileRelease } from "./fileRelease.ts";

const [log, holdMs, mishap] = process.argv.slice(2);
const contact = new ContactProcess({
  target: fileRelease(log!),
  main: new URL("./fileContactMain.ts", import.meta.url),
  rescue: () => Promise.resolve(),
  tell: (message) => {
    process.stdout.write(`${message.kind} ${contact.pid ?? ""}\n`);
    if (message.kind === "taken") {
      contact.press({ pressId: 1, atMs: realMs(), holdMs: Number(holdMs) });
    }
    if (message.kind !== "pressed") return;
    if (mishap === "hang") for (;;);
    if (mishap === "exit") process.exit(0);
  },
});
await contact.start();
