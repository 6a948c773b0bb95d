// Serial lines of the kernel itself: a pseudo terminal carries bytes but has no control lines.
import { describe, expect, it } from "vitest";
import { openSerialContact } from "../../controller/release/serialContact.ts";
import { Sensors, type SensorEvent } from "../../controller/sensors/sensors.ts";
import { utcMs } from "../../core/units.ts";
import { fileRelease } from "../support/fileRelease.ts";
import { hasTool } from "../support/outsideTool.ts";
import { openPseudoTerminal } from "../support/pseudoTerminal.ts";

const isThere = hasTool("python3", "serial lines of a real kernel are not tried");

describe.skipIf(!isThere)("a serial line of the kernel", () => {
  it("without control lines is refused as a release: they cannot be lowered", async () => {
    const { path } = await openPseudoTerminal();
    await expect(openSerialContact(fileRelease(path))).rejects.toMatchObject({
      code: "release.unsafe",
      message: expect.stringContaining(path) as string,
    });
  });

  it("brings a light meter's and a GNSS receiver's lines", async () => {
    const [light, gnss] = [await openPseudoTerminal(), await openPseudoTerminal()];
    const events: SensorEvent[] = [];
    let hear: () => void = () => undefined;
    const sensors = new Sensors({
      targets: [
        { kind: "lightMeter", path: light.path, baudRate: 115_200, silenceMsMax: 60_000 },
        { kind: "gnss", path: gnss.path, baudRate: 9600, silenceMsMax: 60_000 },
      ],
      nowUtcMs: () => utcMs(Date.UTC(2027, 2, 24, 12)),
      tell: (event) => {
        events.push(event);
        hear();
      },
    });
    const heard = async (kind: SensorEvent["kind"]): Promise<void> => {
      while (!events.some((event) => event.kind === kind)) {
        await new Promise<void>((resolve) => (hear = resolve));
      }
    };
    // Said again and again, as a sensor does: opening a port drops what was said before.
    const speaking = setInterval(() => {
      light.write("light value=0.25\n");
      gnss.write("$GPRMC,120000.00,A,6854.000,N,02700.000,E,0.0,0.0,240327,,,A*57\n");
    }, 50);
    await heard("light");
    await heard("place");
    clearInterval(speaking);
    expect(events).toContainEqual({ kind: "light", value: 0.25 });
    expect(events).toContainEqual({ kind: "clock", laptopLessGnssMs: 0 });
    await sensors.close();
  });
});
