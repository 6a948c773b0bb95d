import { EventEmitter } from "node:events";
import { expect, it } from "vitest";
import { openTerminal } from "../../controller/terminal.ts";

class Output extends EventEmitter {
  readonly lines: string[] = [];
  write(text: string): boolean {
    this.lines.push(text);
    return true;
  }
}

function terminal() {
  const [stdout, stderr] = [new Output(), new Output()];
  const window = new EventEmitter();
  const opened = openTerminal({ stdout, stderr } as never, (hungUp) => window.on("close", hungUp));
  return { stdout, stderr, window, opened };
}

it.each(["EPIPE", "EIO"])(
  "prints no more once a line was refused with %s, and says why once",
  (code) => {
    const { stdout, stderr, opened } = terminal();
    const reported: string[] = [];
    opened.onLost((why) => reported.push(why));
    opened.print("one");
    stdout.emit("error", Object.assign(new Error("refused"), { code }));
    stderr.emit("error", Object.assign(new Error("refused"), { code }));
    opened.print("two");
    expect(stdout.lines).toEqual(["one\n"]);
    expect(reported).toEqual([`what is printed is not read any more (${code})`]);
  },
);

it("says why to anyone who asks only after its window was closed", () => {
  const { window, opened } = terminal();
  window.emit("close");
  const reported: string[] = [];
  opened.onLost((why) => reported.push(why));
  expect(reported).toEqual(["its window was closed (SIGHUP)"]);
});
