// A release contact on a serial adapter, as this kernel's own driver works its lines.
import { afterAll, beforeAll, describe, expect, it, onTestFinished } from "vitest";
import { realMs } from "../../controller/timing/clock.ts";
import { ContactProcess } from "../../controller/release/contactProcess.ts";
import type { FromContact } from "../../controller/release/contactMessages.ts";
import type { LineMovement } from "../support/serialAdapter.ts";
import { Bus } from "./bus.ts";

/** On a busy machine the contact's process alone took 35 s to start in the emulated one. */
const WAIT = { timeout: 120_000 };
/** An hour: nothing but the mishap ends such a press within a test. */
const LONG_MS = 3_600_000;

let bus: Bus;
beforeAll(async () => {
  bus = await Bus.start();
});
afterAll(async () => await bus.stop());

function contactOn(path: string) {
  const reported: FromContact[] = [];
  const contact = new ContactProcess({
    target: {
      ...{ kind: "serial", path, line: "dtr", closedAt: "high" },
      ...{ halfLine: null, halfPressMs: 0 },
    },
    tell: (message) => reported.push(message),
  });
  onTestFinished(() => contact.end());
  const heard = async (kind: FromContact["kind"]): Promise<FromContact> => {
    await expect.poll(() => reported.some((message) => message.kind === kind), WAIT).toBe(true);
    return reported.find((message) => message.kind === kind)!;
  };
  return { contact, heard };
}

const levels = (movements: readonly LineMovement[]): string[] =>
  movements.map(({ dtr, rts }) => `${Number(dtr)}${Number(rts)}`);

describe("a release contact on a serial adapter", () => {
  it("has both lines lowered at once after the system raised them, then works DTR alone", async () => {
    const { device, path } = await bus.plugSerial("LINE0001", { hasBreak: true });
    const { contact, heard } = contactOn(path);
    await contact.start();
    await heard("taken");
    const opened = await bus.lines(device);
    expect(levels(opened)).toContain("11");
    expect(levels(opened).at(-1)).toBe("00");
    contact.press({ pressId: 1, atMs: realMs(), holdMs: 400 });
    await heard("released");
    const [closed, open] = (await bus.lines(device)).slice(opened.length);
    expect(levels([closed!, open!])).toEqual(["10", "00"]);
    expect(open!.atMs - closed!.atMs).toBeGreaterThan(350);
  });

  it("opens when its owner is killed: the system lowers the lines", async () => {
    const { device, path } = await bus.plugSerial("LINE0002", { hasBreak: true });
    const { contact, heard } = contactOn(path);
    await contact.start();
    await heard("taken");
    contact.press({ pressId: 1, atMs: realMs(), holdMs: LONG_MS });
    await heard("pressed");
    expect(levels(await bus.lines(device)).at(-1)).toBe("10");
    process.kill(contact.pid!, "SIGKILL");
    expect(await heard("failed")).toMatchObject({ code: "release.gone", gone: true });
    await expect.poll(async () => levels(await bus.lines(device)).at(-1), WAIT).toBe("00");
  });

  it("is reported to be gone when the adapter is pulled while it is closed", async () => {
    const { device, path } = await bus.plugSerial("LINE0003", { hasBreak: true });
    const { contact, heard } = contactOn(path);
    await contact.start();
    await heard("taken");
    contact.press({ pressId: 1, atMs: realMs(), holdMs: LONG_MS });
    await heard("pressed");
    await bus.unplug(device);
    expect(await heard("failed")).toMatchObject({ code: "release.gone", gone: true, pressId: 1 });
  });

  it("is refused on an adapter whose lines cannot be lowered, and released", async () => {
    const { device, path } = await bus.plugSerial("LINE0004", { hasBreak: false });
    const { contact, heard } = contactOn(path);
    await contact.start();
    expect(await heard("failed")).toMatchObject({ code: "release.unsafe", gone: true });
    await expect.poll(async () => levels(await bus.lines(device)).at(-1), WAIT).toBe("00");
  });
});
