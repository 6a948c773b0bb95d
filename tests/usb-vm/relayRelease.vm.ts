// A release contact on a HID relay, as this kernel's own driver hands it reports.
import { spawnSync } from "node:child_process";
import { afterAll, beforeAll, describe, expect, it, onTestFinished } from "vitest";
import { realMs } from "../../controller/timing/clock.ts";
import { ContactProcess } from "../../controller/release/contactProcess.ts";
import type { FromContact } from "../../controller/release/contactMessages.ts";
import { chooseRelease } from "../../controller/release/parseRelease.ts";
import { readProfiles } from "../../controller/profiles/readProfiles.ts";
import { Bus } from "./bus.ts";

/** On a busy machine the contact's process alone took 35 s to start in the emulated one. */
const WAIT = { timeout: 120_000 };
const LONG_MS = 3_600_000;

let bus: Bus;
let device: number;
beforeAll(async () => {
  bus = await Bus.start();
  device = await bus.plugRelay("RELAY001");
});
afterAll(async () => await bus.stop());

const words = async (): Promise<readonly string[]> =>
  (await bus.contact(device)).map(({ word }) => word);

/** Takes the relay that the program finds by itself. */
async function contactOnRelay() {
  const { target } = await chooseRelease("hid", readProfiles(null).releases);
  const reported: FromContact[] = [];
  const contact = new ContactProcess({ target, tell: (message) => reported.push(message) });
  onTestFinished(() => contact.end());
  const heard = async (kind: FromContact["kind"]): Promise<void> =>
    void (await expect
      .poll(() => reported.some((message) => message.kind === kind), WAIT)
      .toBe(true));
  await contact.start();
  await heard("taken");
  return { contact, heard };
}

describe("a release contact on a HID relay", () => {
  it("belongs to a group of ordinary users by the rule that comes with the program", async () => {
    const groupMayUse = (): string =>
      spawnSync("find", ["/dev", "-name", "hidraw*", "-perm", "0660", "-group", "plugdev"], {
        encoding: "utf8",
      }).stdout;
    await expect.poll(groupMayUse, WAIT).toMatch(/^\/dev\/hidraw\d+\n$/);
  });

  it("is found by its numbers, opened at first, and closed as long as the press lasts", async () => {
    const { contact, heard } = await contactOnRelay();
    expect(await words()).toEqual(["open"]);
    contact.press({ pressId: 1, atMs: realMs(), holdMs: 400 });
    await heard("released");
    const [, closed, open] = await bus.contact(device);
    expect([closed!.word, open!.word]).toEqual(["closed", "open"]);
    expect(open!.atMs - closed!.atMs).toBeGreaterThan(350);
  });

  it("keeps its state when its owner is killed, and is opened by the program all the same", async () => {
    const { contact, heard } = await contactOnRelay();
    contact.press({ pressId: 1, atMs: realMs(), holdMs: LONG_MS });
    await heard("pressed");
    expect((await words()).at(-1)).toBe("closed");
    process.kill(contact.pid!, "SIGKILL");
    await heard("failed");
    await expect.poll(async () => (await words()).at(-1), WAIT).toBe("open");
  });
});
