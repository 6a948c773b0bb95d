import { SerialPortMock } from "serialport";
import { beforeEach, describe, expect, it } from "vitest";
import {
  openSerialContact,
  type LineLevels,
  type LinePort,
  type LinePortOptions,
} from "../../../controller/release/serialContact.ts";
import type { SerialRelease } from "../../../controller/release/releaseTarget.ts";

const PATH = "/dev/made-up";

function release(over: Partial<SerialRelease> = {}): SerialRelease {
  return {
    ...{ kind: "serial", path: PATH, line: "dtr", closedAt: "high" },
    ...{ halfLine: null, halfPressMs: 300 },
    ...over,
  };
}

/** A mock port that writes down what is done to its lines. */
function recorded(levels: LineLevels[], options: LinePortOptions[] = [], refuses = false) {
  return (wanted: LinePortOptions): LinePort => {
    options.push(wanted);
    const port = new SerialPortMock(wanted);
    const { set } = port;
    port.set = (asked, done) => {
      levels.push(asked as LineLevels);
      if (refuses) return done?.(new Error("Inappropriate ioctl for device"));
      return set.call(port, asked, done);
    };
    return port as unknown as LinePort;
  };
}

describe("a serial release contact", () => {
  beforeEach(() => {
    SerialPortMock.binding.reset();
    SerialPortMock.binding.createPort(PATH);
  });

  it("has both lines lowered before anything else, for opening the port raised them", async () => {
    const levels: LineLevels[] = [];
    const contact = await openSerialContact(release(), recorded(levels));
    expect(levels).toEqual([{ dtr: false, rts: false }]);
    await contact.close();
  });

  it.each([
    [
      { line: "dtr", closedAt: "high" },
      { dtr: true, rts: false },
      { dtr: false, rts: false },
    ],
    [
      { line: "rts", closedAt: "high" },
      { dtr: false, rts: true },
      { dtr: false, rts: false },
    ],
    [
      { line: "dtr", closedAt: "low" },
      { dtr: false, rts: false },
      { dtr: true, rts: false },
    ],
    [
      { line: "rts", closedAt: "low" },
      { dtr: false, rts: false },
      { dtr: false, rts: true },
    ],
  ] as const)("with %o closes by %o and opens by %o", async (wiring, closed, open) => {
    const levels: LineLevels[] = [];
    const contact = await openSerialContact(release(wiring), recorded(levels));
    await contact.set("closed");
    await contact.set("open");
    expect(levels).toEqual([open, closed, open]);
    await contact.close();
    expect(levels.at(-1)).toEqual(open);
  });

  it("half-presses by the other line, which stays closed during the release", async () => {
    const levels: LineLevels[] = [];
    const contact = await openSerialContact(release({ halfLine: "rts" }), recorded(levels));
    expect(contact.halfPressMs).toBe(300);
    await contact.set("half");
    await contact.set("closed");
    expect(levels.slice(1)).toEqual([
      { dtr: false, rts: true },
      { dtr: true, rts: true },
    ]);
    await contact.close();
  });

  it("lets the system lower the lines of a killed owner, unless low closes the contact", async () => {
    const options: LinePortOptions[] = [];
    await (await openSerialContact(release(), recorded([], options))).close();
    await (await openSerialContact(release({ closedAt: "low" }), recorded([], options))).close();
    expect(options.map(({ hupcl }) => hupcl)).toEqual([true, false]);
  });

  it("refuses an adapter whose lines cannot be lowered", async () => {
    const opening = openSerialContact(release(), recorded([], [], true));
    await expect(opening).rejects.toMatchObject({
      code: "release.unsafe",
      message: expect.stringMatching(/refused/) as string,
    });
  });

  it("says which port is not there", async () => {
    const opening = openSerialContact(release({ path: "/dev/none" }), recorded([]));
    await expect(opening).rejects.toMatchObject({
      code: "release.gone",
      message: expect.stringContaining("/dev/none") as string,
    });
  });

  it("reports an adapter that is unplugged", async () => {
    let port: SerialPortMock | null = null;
    const contact = await openSerialContact(release(), (options) => {
      port = new SerialPortMock(options);
      return port as unknown as LinePort;
    });
    const lost = new Promise<void>((resolve) => contact.onLost(resolve));
    port!.close();
    await lost;
  });
});
