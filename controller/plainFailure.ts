// Imported before everything else by what a person starts: a package whose binary is missing fails
// while the program is still being put together, where no command can catch it.
import { NightError } from "../core/errors.ts";
import { nativeFailureAtStart } from "./nativePackages.ts";

process.on("uncaughtException", (thrown) => {
  const failure = nativeFailureAtStart(thrown);
  const text = failure instanceof NightError ? `error: ${failure.message}` : thrown.stack;
  process.stderr.write(`${text ?? String(thrown)}\n`);
  process.exit(1);
});
