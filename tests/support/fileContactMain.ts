// A contact owner whose device is a log of one line a movement, for tests that kill processes.
import { appendFileSync } from "node:fs";
import { ownContact } from "../../controller/release/ownContact.ts";
import { realMs } from "../../controller/timing/clock.ts";

ownContact(async (target) => {
  const log = target.kind === "serial" ? target.path : "";
  const write = (word: string): void =>
    appendFileSync(log, `${word} ${Math.round(realMs())} ${process.pid}\n`);
  write("open");
  return {
    halfPressMs: 0,
    set: async (state) => write(state),
    onLost: () => undefined,
    close: async () => write("open"),
  };
});
