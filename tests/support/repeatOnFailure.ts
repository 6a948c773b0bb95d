import { beforeEach } from "vitest";
import { repeatCommand } from "./repeatCommand.ts";

/** Every failing test names the one command that runs it again; its seeds are fixed in its file. */
beforeEach(({ task, onTestFailed }) => {
  onTestFailed(() => {
    const name = [task.name];
    for (let suite = task.suite; suite?.name; suite = suite.suite) name.unshift(suite.name);
    const command = repeatCommand({ file: task.file.filepath, name: name.join(" ") });
    process.stderr.write(`Repeat it: ${command}\n`);
  });
});
