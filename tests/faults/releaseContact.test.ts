import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { realMs } from "../../controller/timing/clock.ts";
import type { FromContact } from "../../controller/release/contactMessages.ts";
import { ContactProcess } from "../../controller/release/contactProcess.ts";
import { contactMovements, fileRelease } from "../support/fileRelease.ts";
import { isAlive, startProgram } from "../support/program.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";

async function until(isSo: () => boolean): Promise<void> {
  while (!isSo()) await new Promise((resolve) => setTimeout(resolve, 10));
}

/** An hour: nothing but the mishap ends such a press within a test. */
const LONG_MS = 3_600_000;

describe("a closed release contact", () => {
  it("opens when the program that asked for it is killed", async () => {
    const log = join(temporaryFolder(), "line");
    const program = startProgram("tests/support/contactHolder.ts", [log, String(LONG_MS), "none"]);
    const [, owner] = await program.prints(/pressed (\d+)/);
    expect(contactMovements(log).at(-1)?.word).toBe("closed");
    program.child.kill("SIGKILL");
    await program.ended;
    await until(() => !isAlive(Number(owner)));
    expect(contactMovements(log).map(({ word }) => word)).toEqual(["open", "closed", "open"]);
  });

  it("opens when the program ends by itself without a word", async () => {
    const log = join(temporaryFolder(), "line");
    const program = startProgram("tests/support/contactHolder.ts", [log, String(LONG_MS), "exit"]);
    const [, owner] = await program.prints(/pressed (\d+)/);
    await program.ended;
    await until(() => !isAlive(Number(owner)));
    expect(contactMovements(log).at(-1)?.word).toBe("open");
  });

  it("opens at its time of 400 ms while the program hangs", async () => {
    const log = join(temporaryFolder(), "line");
    const program = startProgram("tests/support/contactHolder.ts", [log, "400", "hang"]);
    await program.prints(/pressed/);
    await until(() => contactMovements(log).length >= 3);
    const [, closed, opened] = contactMovements(log);
    expect(opened!.word).toBe("open");
    expect(opened!.atMs - closed!.atMs).toBeGreaterThanOrEqual(399);
    expect(opened!.atMs - closed!.atMs).toBeLessThan(2_000);
    program.child.kill("SIGKILL");
    await program.ended;
  });

  it("is opened by the program when its owner is killed, and taken again afterwards", async () => {
    const log = join(temporaryFolder(), "line");
    const reported: FromContact[] = [];
    const rescued: number[] = [];
    const contact = new ContactProcess({
      target: fileRelease(log),
      main: new URL("../support/fileContactMain.ts", import.meta.url),
      rescue: async () => void rescued.push(realMs()),
      tell: (message) => reported.push(message),
    });
    const heard = async (kind: FromContact["kind"], count = 1): Promise<void> =>
      await until(() => reported.filter((message) => message.kind === kind).length >= count);
    await contact.start();
    await heard("taken");
    contact.press({ pressId: 7, atMs: realMs(), holdMs: LONG_MS });
    await heard("pressed");
    process.kill(contact.pid!, "SIGKILL");
    await heard("failed");
    expect(reported.at(-1)).toMatchObject({ code: "release.gone", gone: true, pressId: 7 });
    await until(() => rescued.length === 1);
    await contact.start();
    await heard("taken", 2);
    expect(contactMovements(log).at(-1)?.word).toBe("open");
    await contact.end();
    expect(contact.pid).toBeNull();
  });

  it("is taken from an owner that hangs 2 s past the press's end", async () => {
    const reported: FromContact[] = [];
    let rescues = 0;
    const contact = new ContactProcess({
      target: fileRelease(join(temporaryFolder(), "line")),
      main: new URL("../support/hangingContactMain.ts", import.meta.url),
      rescue: async () => void (rescues += 1),
      tell: (message) => reported.push(message),
    });
    await contact.start();
    await until(() => reported.some(({ kind }) => kind === "taken"));
    contact.press({ pressId: 1, atMs: realMs(), holdMs: 50 });
    await until(() => rescues > 0);
    expect(reported.at(-1)).toMatchObject({ kind: "failed", gone: true, pressId: 1 });
    await contact.end();
  });
});
