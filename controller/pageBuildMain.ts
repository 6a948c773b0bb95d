// Builds the page in a process of its own, so that a watch that has begun is not held up by it.
import { constants, setPriority } from "node:os";
import { buildPage, dropHalfBuiltPage } from "./pageBuild.ts";

// The camera's frames come first.
setPriority(constants.priority.PRIORITY_BELOW_NORMAL);
// Ctrl-C reaches this process as well; it goes on until the process that started it ends it, or is gone.
process.on("SIGINT", () => undefined);
for (const end of ["SIGTERM", "disconnect"]) process.on(end, giveUp);
if (!process.connected) giveUp();
await buildPage();
process.exit();

function giveUp(): never {
  dropHalfBuiltPage();
  process.exit(1);
}
