// The installed command behind nattvakt.cjs: `nattvakt` is the daemon, a word after it one of the other commands.
import "./plainFailure.ts";
import { COMMANDS } from "./commands/commandList.ts";
import { nearest } from "./commandLine.ts";
import { packageVersion } from "./ownFiles.ts";

const [word] = process.argv.slice(2);
if (word === "--help" || word === "-h") {
  process.stdout.write(overview());
} else if (word === "--version") {
  process.stdout.write(`${packageVersion()}\n`);
} else if (word === undefined || word.startsWith("-")) {
  await import("./main.ts");
} else if (word === "start") {
  await runListed(() => import("./main.ts"));
} else if (Object.hasOwn(COMMANDS, word)) {
  await runListed(COMMANDS[word]!.run);
} else {
  const near = nearest(word, Object.keys(COMMANDS));
  const hint = near === null ? "see nattvakt --help" : `did you mean ${near}?`;
  process.stderr.write(`error: there is no command ${word}; ${hint}\n`);
  process.exitCode = 2;
}

/** The command reads its own arguments, without the word that chose it. */
async function runListed(run: () => Promise<unknown>): Promise<void> {
  process.argv.splice(2, 1);
  await run();
}

function overview(): string {
  const rows = [
    [
      "nattvakt",
      "watches the night; with no camera named, the demo night (options: nattvakt start --help)",
    ],
    ...Object.entries(COMMANDS).map(([name, { does }]) => [`nattvakt ${name}`, does]),
    ["nattvakt --version", "which version this is"],
  ] as const;
  const width = Math.max(...rows.map(([call]) => call!.length)) + 2;
  const lines = rows.map(([call, does]) => `  ${call!.padEnd(width)}${does}`);
  return ["nattvakt [command] [options]", "", ...lines, "", "Each command has --help.", ""].join(
    "\n",
  );
}
